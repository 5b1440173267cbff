"""Are uses of a number told apart by their years, and are readings given their run's packing date from their file?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.records.conflicts import conflicts_in
from analysis.records.kinds import KINDS
from analysis.records.occasions import are_apart, occasions
from analysis.records.run_dates import packed_by_file


def _days(*days: str | None) -> np.ndarray:
    return np.array([np.datetime64("NaT" if day is None else day, "us") for day in days])


def _uses(*rows: tuple[int, str | None]) -> list[int]:
    group = np.array([of for of, _ in rows], dtype=np.int64)
    return occasions(group, _days(*(day for _, day in rows))).tolist()


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        ("2025-01-10", "2026-01-09", True),
        ("2025-01-10", "2025-12-10", False),  # a number does not come round again within a year
        ("2025-12-30", "2026-01-02", False),  # a run that was moved across New Year
        ("2025-11-20", "2026-01-19", False),  # 60 days
        ("2025-11-20", "2026-01-20", True),  # 61 days
        ("2025-10-20", "2026-01-25", True),  # a brewery that began in autumn and counts from 1 again in January
    ],
)
def test_two_days_of_packing(one: str, other: str, apart: bool) -> None:
    first, second = _days(one), _days(other)
    assert are_apart(first, second).tolist() == are_apart(second, first).tolist() == [apart]


def test_uses_of_two_numbers_never_mix() -> None:
    uses = _uses((0, "2025-01-10"), (1, "2025-01-10"), (0, "2026-01-09"), (1, "2025-02-10"))
    assert len(set(uses)) == 3
    assert uses[1] == uses[3]


def test_days_in_a_chain_are_one_use() -> None:
    uses = _uses((0, "2025-11-20"), (0, "2026-02-10"), (0, "2026-01-05"))
    assert len(set(uses)) == 1


def test_a_row_without_a_day_is_of_the_only_use() -> None:
    uses = _uses((0, None), (0, "2025-01-10"), (1, None), (1, "2025-01-10"), (1, "2026-01-09"), (2, None), (2, None))
    assert uses[0] == uses[1]
    assert uses[2] not in uses[3:5]
    assert uses[5] == uses[6]
    assert len(set(uses)) == 5


def test_rows_that_do_not_count_tell_nothing_apart_and_join_nothing() -> None:
    days = _days("2025-11-20", "2026-01-05", "2026-02-10", "2027-05-01")
    uses = occasions(np.zeros(4, dtype=np.int64), days, np.array([True, False, True, False])).tolist()
    assert uses[0] != uses[2]
    assert uses[1] in (uses[0], uses[2])
    assert uses[3] not in (uses[0], uses[2])


def _listed(*rows: tuple[str, str, str, str, int, str]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["run", "batch", "file", "sheet", "source_row", "packed_at"])
    return frame.assign(packed_at=pd.to_datetime(frame["packed_at"]))


def _read(*rows: tuple[str | None, str | None, str, str, int, str | None]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["run", "batch", "file", "sheet", "source_row", "measured_at"])
    return frame.assign(measured_at=pd.to_datetime(frame["measured_at"]))


def test_a_row_s_own_sheet_says_when_its_run_was_packed() -> None:
    runs = _listed(("1", "1", "log", "P", 2, "2025-01-10"), ("1", "1", "log", "P", 5, "2026-01-09"),
                   ("2", "2", "log", "P", 4, "2025-02-01"))  # fmt: skip
    read = _read(("1", "1", "log", "P", 3, None), ("1", "1", "log", "P", 6, "2026-03-01"),
                 ("3", "1", "log", "P", 6, None), (None, "1", "log", "P", 2, None))  # fmt: skip
    assert packed_by_file(read, runs).astype("datetime64[D]").astype(str).tolist() == [
        "2025-01-10", "2026-01-09", "NaT", "NaT",
    ]  # fmt: skip


def test_a_workbook_says_of_which_year_its_undated_readings_are() -> None:
    runs = _listed(("1", "1", "2025", "Runs", 2, "2025-01-10"), ("1", "1", "2026", "Runs", 2, "2026-01-09"),
                   ("2", "2", "2026", "Runs", 3, "2026-01-20"))  # fmt: skip
    read = _read(("1", "1", "2025", "Cans", 2, None), ("1", None, "2026", "Cans", 2, None),
                 ("1", "1", "2026", "Cans", 2, "2026-01-12"), ("1", "1", "lab", "Cans", 2, None),
                 ("1", "7", "2026", "Cans", 2, None))  # fmt: skip
    assert packed_by_file(read, runs).astype("datetime64[D]").astype(str).tolist() == [
        "2025-01-10", "2026-01-09", "NaT", "NaT", "NaT",
    ]  # fmt: skip


def test_a_workbook_of_two_years_says_of_neither() -> None:
    runs = _listed(("1", "1", "log", "2025", 2, "2025-01-10"), ("1", "1", "log", "2026", 2, "2026-01-09"))
    assert np.isnat(packed_by_file(_read(("1", "1", "log", "Cans", 2, None)), runs)).all()


def test_two_years_in_one_intake_are_no_conflict_and_two_days_are() -> None:
    names = [column.name for column in KINDS["pack_runs"].columns]
    runs = _listed(("1", "1", "log", "P", 2, "2025-01-10"), ("1", "1", "log", "P", 3, "2026-01-09"),
                   ("1", "1", "log", "P", 4, "2026-01-12"))  # fmt: skip
    problems = conflicts_in("pack_runs", runs.reindex(columns=[*names, "file", "sheet", "source_row"]))
    assert [(problem.code, problem.row) for problem in problems] == [("conflict", 3), ("conflict", 4)]
