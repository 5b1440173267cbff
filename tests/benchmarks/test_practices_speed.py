"""Is the practices page answered at once?

The floor is one mixed fit of the same rows with the same formula, formula reading included: 23 ms for the demo's haze
on the machine that 400 ms were asked for. Told as a ratio it holds on others.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from analysis.findings.practice_depth import deepen
from analysis.findings.practices import practices
from analysis.ledger import Ledger
from analysis.linking import pack_table
from analysis.models import mixed
from analysis.records import SourceFile, take_in
from data_demo.workbooks import write_workbooks

PAGE_IN_FITS = 0.400 / 0.023
DEPTH_IN_FITS = 0.400 / 0.023


def best_of(times: int, work: Callable[[], object]) -> float:
    """Return the shortest of several timings [s]."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return min(taken)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    files = tuple(SourceFile(path, path.name) for path in write_workbooks(folder))
    with Ledger.open(f"sqlite:///{folder / 'ledger.sqlite'}") as ledger:
        ledger.commit(take_in(files), by="the demo")
        yield pack_table(ledger)


@pytest.mark.benchmark_floor
@pytest.mark.parametrize("measure", ["haze", "total_oxygen"])
def test_all_practices_of_a_measure(benchmark, demo, measure):
    finding = practices(demo, measure)
    one_fit = best_of(7, lambda: mixed(finding.formula, finding.grounds.frame))
    found = benchmark.pedantic(practices, args=(demo, measure), rounds=7, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / one_fit
    benchmark.extra_info.update(ratio=ratio, floor_seconds=one_fit)
    assert len(found.practices) >= 15
    assert ratio <= PAGE_IN_FITS


@pytest.mark.benchmark_floor
def test_what_stands_behind_one_verdict(benchmark, demo):
    finding = practices(demo, "haze")
    one_fit = best_of(7, lambda: mixed(finding.formula, finding.grounds.frame))
    found = benchmark.pedantic(deepen, args=(finding, "rouse_minutes"), rounds=5, warmup_rounds=1)
    ratio = benchmark.stats.stats.min / one_fit
    benchmark.extra_info.update(ratio=ratio, floor_seconds=one_fit)
    assert found.practice == "rouse_minutes"
    assert ratio <= DEPTH_IN_FITS
