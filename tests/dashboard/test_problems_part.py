"""Are problems told by sort and place, the pressing ones first, without burying anybody?"""

from __future__ import annotations

from analysis.problems import Problem, Severity
from dashboard.parts.problems import grouped, problem_list

LOG = "Cellar log.xlsx"


def dates(rows: range) -> list[Problem]:
    return [
        Problem(
            "date-impossible",
            f"“{row}.13.2026” is no date.",
            "Correct it.",
            file=LOG,
            sheet="Rouse",
            row=row,
            column="Date",
            value=f"{row}.13.2026",
        )
        for row in rows
    ]


def question() -> Problem:
    return Problem(
        "date-order", "Day first or month first?", "Say which.", Severity.QUESTION, LOG, "Dumps", None, "Date"
    )


def test_one_sort_in_one_column_is_one_group() -> None:
    (group,) = grouped(dates(range(5, 20)))
    assert len(group.problems) == 15
    assert group.place == "Cellar log.xlsx › Rouse, column “Date”"
    assert group.rows == "rows 5, 6, 7, 8, 9, 10 and 9 more"


def test_questions_come_first_then_what_was_rejected() -> None:
    note = Problem("missing-read", "“n/a” is no reading.", "Nothing.", Severity.NOTE, LOG, "Pack", 3, "DO")
    groups = grouped([note, *dates(range(5, 7)), question()])
    assert [group.severity for group in groups] == [Severity.QUESTION, Severity.REJECTED, Severity.NOTE]


def test_a_larger_group_of_the_same_sort_comes_first() -> None:
    small = Problem("unit-unknown", "Unit?", "Say it.", file=LOG, sheet="Pack", row=2, column="Haze")
    assert [len(group.problems) for group in grouped([small, *dates(range(5, 9))])] == [4, 1]


def test_a_group_without_rows_says_none() -> None:
    assert grouped([question()])[0].rows == ""


def test_at_most_fifty_single_problems_stand_open_and_the_rest_is_counted() -> None:
    text = str(problem_list(dates(range(5, 105))))
    assert text.count("scope='row'") == 50
    assert "50 more are in the file of rejected rows." in text


def test_only_the_severities_that_are_asked_for_are_told() -> None:
    parts = problem_list([question(), *dates(range(5, 7))], (Severity.REJECTED,))
    assert "Day first" not in str(parts)
    assert "Correct it." in str(parts)


def test_nothing_wrong_is_nothing_said() -> None:
    assert problem_list([]) == []
