"""Which small invented cellars do the tests of the weekly review look at?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd
import pytest

from analysis.linking import PackTable
from analysis.vocabulary import PRACTICES, STAGES, further_practice

Level = Callable[[str, int], float]
FIRST = pd.Timestamp("2026-01-05 09:00")
PRACTICE = further_practice("Air bled", "yes_no", "operations")
assert "pack" in STAGES


def steady(_recipe: str, _run: int) -> float:
    return 1.0


@pytest.fixture(scope="session")
def cellar() -> Callable[..., PackTable]:
    """Make a cellar: ``level`` says by how much a recipe’s run stands above its usual 60 µg/L.

    Runs spread evenly up to 1.7 standard deviations, so that no limit is passed by chance.
    """

    def make(
        level: Level = steady,
        *,
        recipes: Sequence[str] = ("P40",),
        runs: int = 40,
        spread: float = 0.06,
        seed: int = 3,
        bled: Callable[[str, int], float] | None = None,
        line: Callable[[str, int], str] = lambda _recipe, _run: "1",
        meter: Callable[[int], str] = lambda _run: "M1",
        state: int = 5,
    ) -> PackTable:
        draw = np.random.default_rng(seed)
        rows = []
        for n in range(runs):
            for place, recipe in enumerate(recipes):
                run = f"R{100 * (place + 1) + n}"
                blown = float(draw.random() < 0.5) if bled is None else bled(recipe, n)
                value = 60 * level(recipe, n) * float(np.exp(spread * draw.uniform(-1.7, 1.7)))
                rows += [_row(run, recipe, n, place, value, blown, line(recipe, n), meter(n), can) for can in range(2)]
        frame = pd.DataFrame(rows).astype({"packed_at": "datetime64[us]", "measured_at": "datetime64[us]"})
        return _table(frame.sort_values("packed_at", kind="stable").reset_index(drop=True), state)

    return make


def _row(
    run: str, recipe: str, n: int, place: int, value: float, bled: float, line: str, meter: str, can: int
) -> Mapping[str, object]:
    packed = FIRST + pd.Timedelta(days=4 * n, hours=place)
    return {
        "run": run,
        "batch": f"B{run}",
        "recipe": recipe,
        "format": "can",
        "line": line,
        "tank": f"BB{n % 3}",
        "packed_at": packed,
        "sample": str(can + 1),
        "measured_at": packed + pd.Timedelta(hours=3),
        "age_days": 0.125,
        "total_oxygen": value * (1.02 if can else 0.98),
        "total_oxygen_censored": 0.0,
        "total_oxygen_meter": meter,
        "air_bled": bled,
        "rouse_count": float(1 + n % 3),
    }


def _table(rows: pd.DataFrame, state: int) -> PackTable:
    nothing = pd.DataFrame()
    practices = (PRACTICE, *(PRACTICES[name] for name in ("rouse_count", "tank", "line", "format")))
    return PackTable(
        state=state, rows=rows, tastings=nothing, readings=nothing, operations=nothing, batches=nothing,
        practices=practices, unlinked=pd.DataFrame(columns=["kind", "reason", "count"]), evidence=nothing,
        blends=nothing, targets=nothing, not_offered=nothing,
    )  # fmt: skip


@pytest.fixture(scope="session")
def shifted(cellar) -> PackTable:
    """P40 rises by 60 % from its thirtieth run on and comes back with its forty-fifth; I62 and S48 stand still."""
    return cellar(
        lambda recipe, n: 1.6 if recipe == "P40" and 30 <= n < 45 else 1.0,
        recipes=("P40", "I62", "S48"),
        runs=60,
        line=lambda recipe, _n: "1" if recipe == "P40" else "2",
        seed=9,
    )
