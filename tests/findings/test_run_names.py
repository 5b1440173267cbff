"""Does what was decided about a run stay with it when its number is used again in another year?"""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd

from analysis.findings.baselines import FrozenPhase, RunLeftOut, series_phases
from analysis.findings.run_names import names_today

RUNS = pd.Series(["1 (2025)", "2", "1 (2026-01)", "1 (2026-11)", "3 (2026-01-08) of 7"], dtype="str")
AT = pd.Series(pd.to_datetime(["2025-01-10", "2025-02-10", "2026-01-08", "2026-11-02", "2026-01-08"]))


def test_a_name_that_is_still_used_is_that_run() -> None:
    assert names_today(["2", "1 (2025)"], RUNS, AT) == {"2": "2", "1 (2025)": "1 (2025)"}


def test_a_bare_number_is_the_run_that_had_it_then() -> None:
    assert names_today(["1"], RUNS, AT, by=date(2025, 6, 1)) == {"1": "1 (2025)"}
    assert names_today(["1"], RUNS, AT, by=date(2026, 6, 1)) == {"1": "1 (2026-01)"}
    assert names_today(["1"], RUNS, AT, since=date(2026, 2, 1)) == {"1": "1 (2026-11)"}
    assert names_today(["1"], RUNS, AT, by=date(2024, 12, 31)) == {"1": "1"}


def test_a_name_with_its_year_is_of_that_year_alone() -> None:
    assert names_today(["1 (2026)"], RUNS, AT, by=date(2026, 6, 1)) == {"1 (2026)": "1 (2026-01)"}
    assert names_today(["3 (2026-01)"], RUNS, AT) == {"3 (2026-01)": "3 (2026-01-08) of 7"}
    assert names_today(["2 (2024)", "9"], RUNS, AT) == {"2 (2024)": "2 (2024)", "9": "9"}


def test_a_baseline_leaves_out_the_run_that_was_meant_and_no_other() -> None:
    phase = FrozenPhase(
        "total_oxygen", "pack", "P40", "can", None, date(2025, 1, 1), date(2026, 12, 31), "steady", "Ines",
        (RunLeftOut("1", "a loose seamer"),), at=datetime(2025, 3, 1),
    )  # fmt: skip
    runs = pd.DataFrame({"run": RUNS, "at": AT, "batch": [f"B{n}" for n in range(5)]})
    found = series_phases([phase], runs.sort_values("at", kind="stable").reset_index(drop=True))
    assert found.marks.baseline.tolist() == [False, True, True, True, True]
    assert found.frozen[0] is not None
    assert found.frozen[0].left_out == (RunLeftOut("1 (2025)", "a loose seamer"),)
