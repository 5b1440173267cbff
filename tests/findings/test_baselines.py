"""Is a baseline that a person froze kept with who, when and why, and is it used until it is taken back?"""

from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from analysis.findings.baselines import FrozenPhase, RunLeftOut, freeze, frozen_phases, phases_of, series_phases, thaw
from analysis.ledger import Ledger

AT = datetime(2026, 3, 2, 9, 30)


@pytest.fixture
def ledger(tmp_path):
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


def phase(**changes):
    said = {
        "measure": "haze", "stage": "pack", "recipe": "P40", "format": "can", "begins": None,
        "since": date(2025, 6, 1), "until": date(2025, 9, 30), "because": "the summer before the new malt", "by": "AQ",
        "left_out": (RunLeftOut("R12", "the meter was off"),),
    }  # fmt: skip
    return FrozenPhase(**(said | changes))


def test_a_frozen_phase_comes_back_as_it_was_with_who_when_and_why(ledger):
    kept = freeze(ledger, phase(begins=date(2025, 6, 1)), AT)
    assert frozen_phases(ledger) == (kept,)
    assert (kept.by, kept.at, kept.because) == ("AQ", AT, "the summer before the new malt")
    assert kept.left_out == (RunLeftOut("R12", "the meter was off"),)
    assert (kept.begins, kept.since, kept.until) == (date(2025, 6, 1), date(2025, 6, 1), date(2025, 9, 30))
    assert ledger.state == kept.number == 1


def test_a_later_one_at_the_same_place_counts_and_taken_back_lets_the_earlier_stand_again(ledger):
    first = freeze(ledger, phase())
    second = freeze(ledger, phase(until=date(2025, 12, 31), because="more runs"))
    other = freeze(ledger, phase(format="bottle"))
    assert frozen_phases(ledger) == (second, other)
    thaw(ledger, second.number, "too many runs", "BV")
    assert frozen_phases(ledger) == (first, other)
    with pytest.raises(ValueError, match="a baseline that stands"):
        thaw(ledger, second.number, "again", "BV")


def test_a_decision_of_another_kind_is_not_a_baseline(ledger):
    note = ledger.decide("note", {"text": "x"}, "to see", "AQ")
    assert frozen_phases(ledger) == ()
    with pytest.raises(ValueError, match="a baseline that stands"):
        thaw(ledger, note.number, "wrong", "AQ")


def test_a_series_without_recipe_or_format_is_kept_too(ledger):
    kept = freeze(ledger, phase(recipe=None, format=None, left_out=()))
    assert (frozen_phases(ledger)[0].recipe, kept.format, kept.left_out) == (None, None, ())


def test_a_lines_phase_stands_beside_those_of_recipes(ledger):
    of_recipe = freeze(ledger, phase())
    of_line = freeze(ledger, phase(recipe=None, format=None, line="1", left_out=()))
    again = freeze(ledger, phase(recipe=None, format=None, line="2", left_out=()))
    assert frozen_phases(ledger) == (of_recipe, of_line, again)
    assert phases_of(frozen_phases(ledger), None, None, "1") == (of_line,)
    assert phases_of(frozen_phases(ledger), "P40", "can") == (of_recipe,)
    with pytest.raises(ValueError, match="two phases of line 1 begin on the same day"):
        phases_of([of_line, of_line], None, None, "1")


def test_marks_of_two_phases_and_of_runs_before_the_first():
    runs = pd.DataFrame(
        {
            "run": [f"R{i}" for i in range(40)],
            "at": pd.Timestamp("2025-06-01 08:00") + pd.to_timedelta(np.arange(40), "D"),
        }
    )
    later = phase(
        begins=date(2025, 7, 1), since=date(2025, 7, 2), until=date(2025, 7, 4), left_out=(RunLeftOut("R32", "x"),)
    )
    found = series_phases([later], runs)
    assert found.frozen == (None, later)
    assert found.marks.phase.tolist() == [0] * 30 + [1] * 10
    assert np.flatnonzero(found.marks.baseline).tolist() == [*range(25), 31, 33]


def test_an_entry_from_before_limits_counted_batches_is_read_as_what_it_is(ledger):
    content = {
        "measure": "haze", "stage": "pack", "recipe": "P40", "format": "can", "begins": None,
        "from": "2025-06-01", "to": "2025-09-30", "left_out": [],
    }  # fmt: skip
    ledger.decide("baseline", content, "the summer before the new malt", "AQ", AT)
    (kept,) = frozen_phases(ledger)
    assert (kept.unit, kept.since, kept.until) == ("run", date(2025, 6, 1), date(2025, 9, 30))
    assert freeze(ledger, phase(left_out=())).unit == "batch"
    assert frozen_phases(ledger)[0].unit == "batch"


def test_the_first_runs_are_the_first_batches_where_a_batch_has_several():
    at = pd.Timestamp("2025-06-01 08:00") + pd.to_timedelta(np.arange(80), "D")
    runs = pd.DataFrame({"run": [f"R{i}" for i in range(80)], "batch": [f"{i // 2}" for i in range(80)], "at": at})
    marks = series_phases([], runs).marks
    assert np.flatnonzero(marks.baseline).tolist() == list(range(50))
    later = phase(begins=date(2025, 7, 2), since=date(2025, 7, 2), until=date(2025, 7, 4), left_out=())
    assert np.flatnonzero(series_phases([later], runs).marks.baseline).tolist() == list(range(34))
    own = runs.assign(batch=[None] * 80)
    assert np.flatnonzero(series_phases([], own).marks.baseline).tolist() == list(range(25))
