"""Is a log of one job, without a column that says so, known by its name, its title or its headers?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time

import pytest

from analysis.problems import Severity
from analysis.records import Intake

Take = Callable[..., Intake]
DAY = datetime(2026, 2, 20)
ROUSES = [["Gyle", "Date", "Start", "Finish", "Tank"], [2601, DAY, time(9), time(9, 30), "FV1"]]
FININGS = [["Gyle", "Date", "Finings", "Dose (mL/hL)", "Tank"], [2601, DAY, "Isinglass", 30, "FV1"]]


@pytest.mark.parametrize(
    ("name", "above", "rows", "job"),
    [
        ("Rouse log", [], ROUSES, "rouse"),
        ("Recirculation 2026", [], ROUSES, "rouse"),
        ("Cone dumps", [], ROUSES, "dump"),
        ("Sheet1", [["Rouses of the bright tanks"], []], ROUSES, "rouse"),
        ("Sheet1", [], FININGS, "finings"),
    ],
)
def test_a_log_of_one_job_is_that_job(take: Take, name: str, above: list, rows: list, job: str) -> None:
    intake = take({name: [*above, *rows]})
    operations = intake.records["operations"]
    assert operations["operation"].tolist() == [job]
    (problem,) = [p for p in intake.problems if p.code == "job-of-sheet"]
    assert (problem.severity, f"“{job}”" in problem.message) == (Severity.NOTE, True)


def test_a_second_table_has_the_job_of_its_own_title(take: Take) -> None:
    intake = take({"Cellar": [*FININGS, [], ["Rouses"], *ROUSES]})
    assert intake.records["operations"]["operation"].tolist() == ["finings", "rouse"]


def test_where_nothing_names_the_job_it_is_asked_for(take: Take) -> None:
    intake = take({"Cellar": ROUSES})
    (problem,) = intake.problems
    assert (problem.code, problem.severity) == ("column-missing", Severity.QUESTION)
    assert len(intake.records["operations"]) == 0


def test_a_column_of_jobs_goes_before_the_sheets_name(take: Take) -> None:
    rows = [["Gyle", "Date", "Job", "Tank"], [2601, DAY, "cone dump", "FV1"]]
    assert take({"Rouse log": rows}).records["operations"]["operation"].tolist() == ["dump"]


def test_readings_are_no_jobs_whatever_the_sheet_is_called(take: Take) -> None:
    intake = take({"Chill haze": [["Gyle", "Tank", "Date", "Haze (EBC)"], [2601, "FV1", DAY, 0.8]]})
    assert intake.sheets[0].kind == "readings"
