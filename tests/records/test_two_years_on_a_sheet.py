"""On a sheet of two years whose run numbers begin again: is each row of the run of its own year?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from analysis.records import Intake

Take = Callable[..., Intake]

THEN, LATER, NOW = date(2025, 1, 20), date(2025, 2, 3), date(2026, 1, 19)
HEADERS = ["Packed on", "Run", "Batch", "DO (ppb)", "Air bled?"]


def _readings(intake: Intake) -> list[Any]:
    frame = intake.records["readings"]
    days = frame["packed_at"].dt.strftime("%Y-%m-%d")
    return list(zip(frame["run"], frame["batch"], days, frame["sample"], frame["value"], strict=True))


def test_cans_are_numbered_from_1_in_each_year(take: Take) -> None:
    rows = [HEADERS, [THEN, 1, 1, 40, "y"], [THEN, 1, 1, 42, "y"], [LATER, 2, 2, 44, "n"], [NOW, 1, 1, 50, "n"],
            [NOW, 1, 1, 52, "n"]]  # fmt: skip
    intake = take(rows)
    assert _readings(intake) == [
        ("1", "1", "2025-01-20", "1", 40), ("1", "1", "2025-01-20", "2", 42), ("2", "2", "2025-02-03", "1", 44),
        ("1", "1", "2026-01-19", "1", 50), ("1", "1", "2026-01-19", "2", 52),
    ]  # fmt: skip
    assert not [problem for problem in intake.problems if problem.code == "conflict"]


def test_a_further_column_that_differs_between_years_is_still_the_run_s(take: Take) -> None:
    rows = [HEADERS, [THEN, 1, 1, 40, "y"], [THEN, 1, 1, 42, "y"], [NOW, 1, 1, 50, "n"], [NOW, 1, 1, 52, "n"]]
    runs = take(rows).records["pack_runs"]
    assert runs["extra"].tolist() == ['{"Air bled?": "y"}', '{"Air bled?": "n"}']


def test_blank_cells_are_those_of_the_run_above(take: Take) -> None:
    rows = [HEADERS, [THEN, 1, 1, 40, "y"], [None, 1, None, 42, "y"], [LATER, 2, 2, 44, "n"], [NOW, 1, 9, 50, "n"],
            [None, 1, None, 52, "n"]]  # fmt: skip
    intake = take(rows)
    assert _readings(intake) == [
        ("1", "1", "2025-01-20", "1", 40), ("1", "1", "2025-01-20", "2", 42), ("2", "2", "2025-02-03", "1", 44),
        ("1", "9", "2026-01-19", "1", 50), ("1", "9", "2026-01-19", "2", 52),
    ]  # fmt: skip
    assert "run-details-filled" in {problem.code for problem in intake.problems}


def test_where_no_run_has_one_day_nothing_is_filled_and_the_row_is_told(take: Take) -> None:
    rows = [HEADERS[:4], [THEN, 1, 1, 40], [LATER, 1, 1, 42], [None, 1, 1, 44]]
    intake = take(rows)
    assert [(p.code, p.row) for p in intake.problems if p.code == "value-needed"] == [("value-needed", 4)]
