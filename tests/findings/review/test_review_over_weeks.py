"""Does a matter keep its name and its answer from week to week, and does nothing vanish unanswered?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.review import ReviewFinding, review
from analysis.findings.review_closings import ClosedAction, ClosedItem, closed_reviews, closing_faults, keep_closed
from analysis.findings.review_drafts import AnswerDraft, keep_answer, mark_done, say_done
from analysis.findings.review_items import Item, Standing
from analysis.findings.review_matters import matters_on_record
from analysis.ledger import Ledger
from analysis.linking import PackTable

TODAY = date(2026, 11, 25)
LEVEL = {"P40": lambda n: 1.6 if n >= 30 else 1.0, "I62": lambda _n: 1.0}


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


@pytest.fixture(scope="module")
def weeks(cellar):
    """The same cellar with so many runs packed: P40 stands 60 % higher from its thirtieth run on."""

    def packed(runs: int, level=lambda recipe, n: LEVEL[recipe](n)) -> PackTable:
        return cellar(level, recipes=("P40", "I62"), runs=runs, line=lambda recipe, _n: recipe)

    return packed


def held(table: PackTable, ledger: Ledger, **further) -> ReviewFinding:
    return review(table, matters_on_record(table), ledger.journal(), today=TODAY, **further)


def the_rise(found: ReviewFinding) -> Item:
    return next(item for item in found.items if item.key.recipe == "P40")


def the_rise_settled(found: ReviewFinding) -> Item:
    return next(item for item in found.settled if item.key.recipe == "P40")


def close(found: ReviewFinding, ledger: Ledger, last_seen: int = 0):
    items = [
        ClosedItem(item.seen, str(item.standing), item.answer.in_words if item.answer else "") for item in found.every
    ]
    actions = [ClosedAction(a.item.key.title, a.what, a.standing, "") for a in found.actions]
    return keep_closed(
        ledger, "Ann, Bo", "all well", "Ann", last_seen=last_seen, until=found.until, items=items, actions=actions,
        state=found.ledger_state,
    )  # fmt: skip


def answer(item: Item, ledger: Ledger, last_seen: int = 0, **typed):
    draft = AnswerDraft(**{"outcome": "false alarm", "because": "the cans were not shaken", "by": "Ann", **typed})
    return keep_answer(ledger, item.seen, draft, TODAY, last_seen=last_seen, codes=item.codes)


def test_a_matter_keeps_its_name_when_later_runs_show_more_of_it(weeks, ledger):
    first = the_rise(held(weeks(32), ledger))
    answer(first, ledger)
    later = the_rise(held(weeks(45), ledger))
    assert len(later.seen.runs) > len(first.seen.runs)
    assert later.code == first.code
    assert later.answer.because == "the cans were not shaken"
    assert later.grew_by == len(set(later.seen.runs) - set(first.seen.runs))


def test_a_matter_keeps_its_answer_when_its_first_run_is_corrected(weeks, ledger):
    first = the_rise(held(weeks(40), ledger))
    answer(first, ledger)
    corrected = weeks(40, lambda recipe, n: 1.0 if n in (30, 31) else LEVEL[recipe](n))
    now = the_rise(held(corrected, ledger))
    assert now.matter.runs[0] != first.matter.runs[0]
    assert now.code == first.code
    assert now.answer is not None


def test_what_nobody_answered_is_carried_over(weeks, ledger):
    found = held(weeks(40), ledger)
    assert {item.standing for item in found.items} == {Standing.NEW}
    assert "new" in found.answer
    close(found, ledger)
    later = held(weeks(41), ledger)
    assert the_rise(later).standing is Standing.CARRIED
    assert "carried over" in later.answer
    assert "Nothing is new" in later.answer


def test_an_answered_matter_is_settled_by_closing_and_returns_when_it_has_grown(weeks, ledger):
    found = held(weeks(40), ledger)
    for item in found.items:
        answer(item, ledger)
    answered = held(weeks(40), ledger)
    assert answered.answered == len(answered.items) == len(found.items)
    close(answered, ledger)
    again = held(weeks(40), ledger)
    assert again.items == ()
    assert len(again.settled) == len(found.items)
    grown = held(weeks(44), ledger)
    assert the_rise(grown).standing is Standing.GREW
    close(grown, ledger, last_seen=1)
    assert the_rise_settled(held(weeks(44), ledger)).grew_by == 0


def test_a_matter_whose_records_are_gone_stays_until_it_is_answered(weeks, ledger):
    close(held(weeks(40), ledger), ledger)
    lost = [item for item in held(weeks(25), ledger).items if item.matter is None]
    item = next(item for item in lost if item.key.recipe == "P40")
    assert item.standing is Standing.CARRIED
    assert "rose" in item.seen.told
    answer(item, ledger)
    close(held(weeks(25), ledger), ledger, last_seen=1)
    settled = held(weeks(25), ledger)
    assert item.code not in {one.code for one in settled.items}
    assert settled.item(item.code).answer is not None


def test_a_changed_answer_is_a_new_one_and_the_old_is_kept(weeks, ledger):
    item = the_rise(held(weeks(40), ledger))
    first = answer(item, ledger).answer
    answer(item, ledger, last_seen=first.number, outcome="no cause found", because="seamer and meter")
    now = the_rise(held(weeks(40), ledger))
    assert [str(one.outcome) for one in now.answers] == ["false alarm", "no cause found"]
    assert now.answer.because == "seamer and meter"
    assert now.answer.state > first.state


def test_the_same_answer_sent_twice_is_kept_once(weeks, ledger):
    item = the_rise(held(weeks(40), ledger))
    one, two = answer(item, ledger), answer(item, ledger)
    assert one.answer.number == two.answer.number
    assert not two.meanwhile
    assert len(ledger.journal("signal")) == 1


def test_the_second_of_two_people_sees_what_the_first_answered(weeks, ledger):
    item = the_rise(held(weeks(40), ledger))
    answer(item, ledger)
    second = answer(item, ledger, by="Bo", because="the meter was cold")
    assert second.meanwhile
    assert second.answer.by == "Ann"
    assert len(ledger.journal("signal")) == 1


def test_overdue_actions_are_told(weeks, ledger):
    item = the_rise(held(weeks(40), ledger))
    cause = {"outcome": "assigned cause", "because": "worn chuck", "action": "replace it", "action_by": "Bo"}
    kept = answer(item, ledger, until="2026-11-30", **cause).answer
    assert kept.action.until == date(2026, 11, 30)
    later = review(weeks(40), matters_on_record(weeks(40)), ledger.journal(), today=date(2026, 12, 2))
    assert "1 action is overdue" in later.answer
    assert later.actions[0].overdue
    assert later.actions[0].standing == "overdue by 2 days: it was due on 30 November 2026"
    assert mark_done(ledger, kept.number, "2026-11-24", "Bo", TODAY)
    assert not mark_done(ledger, kept.number, "2026-11-24", "Bo", TODAY)
    done = held(weeks(40), ledger)
    assert not done.actions[0].overdue
    assert done.actions[0].effect is not None


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"outcome": ""}, "outcome"),
        ({"because": " "}, "because"),
        ({"by": ""}, "by"),
        ({"outcome": "assigned cause", "action": "mend it", "action_by": "Bo", "until": "2026-11-24"}, "until"),
        ({"outcome": "assigned cause", "action": "mend it", "action_by": "Bo", "until": ""}, "until"),
        ({"outcome": "assigned cause", "action": "mend it", "action_by": "Bo", "done_on": "2026-11-26"}, "done_on"),
        ({"outcome": "assigned cause", "action": "mend it", "until": "2026-12-01"}, "action_by"),
        ({"outcome": "assigned cause", "action_by": "Bo"}, "action"),
    ],
)
def test_what_is_wrong_is_said_by_field_and_nothing_is_kept(weeks, ledger, typed, field):
    draft = AnswerDraft(**{"outcome": "false alarm", "because": "cold meter", "by": "Ann", **typed})
    assert set(draft.faults(TODAY)) == {field}
    item = the_rise(held(weeks(40), ledger))
    with pytest.raises(ValueError, match="draft must have no faults"):
        keep_answer(ledger, item.seen, draft, TODAY, last_seen=0, codes=item.codes)
    assert ledger.journal() == ()


def test_a_day_of_work_lies_not_ahead():
    assert set(say_done("2026-11-26", "", TODAY)) == {"on", "by"}
    assert say_done("2026-11-25", "Bo", TODAY) == {}


def test_a_review_is_closed_once_and_keeps_what_it_saw(weeks, ledger):
    found = held(weeks(40), ledger)
    answer(the_rise(found), ledger)
    found = held(weeks(40), ledger)
    closed, now = close(found, ledger)
    twice, again = close(found, ledger)
    assert now
    assert not again
    assert twice.number == closed.number == 1
    (kept,) = closed_reviews(ledger.journal())
    assert kept.present == ("Ann", "Bo")
    assert kept.until == found.until
    assert kept.state == found.ledger_state
    seen = next(item for item in kept.items if item.seen.key.recipe == "P40")
    assert "False alarm, because the cans were not shaken" in seen.answer
    assert any(point.within for point in seen.seen.points)
    assert kept.unanswered == len(kept.items) - 1


def test_closing_wants_to_know_who_was_there():
    assert set(closing_faults(" , ", "")) == {"present", "by"}


def test_a_selection_shows_its_matters_and_counts_the_others(weeks, ledger):
    table = weeks(40, lambda _recipe, n: 1.6 if n >= 30 else 1.0)
    everything = held(table, ledger)
    only = held(table, ledger, filters=Filters(recipes=("I62",)))
    assert {item.key.recipe for item in everything.items} >= {"P40", "I62"}
    assert "P40" not in {item.key.recipe for item in only.items}
    assert "I62" in {item.key.recipe for item in only.items}
    assert only.outside_open == len(everything.items) - len(only.items) > 0
    assert len(only.every) == len(everything.items)


def test_an_entry_of_another_version_is_told_and_breaks_nothing(weeks, ledger):
    ledger.decide("signal", {"what": "something else"}, "because", "Ann")
    ledger.decide("review", {"number": "first"}, "because", "Ann")
    found = held(weeks(40), ledger)
    assert found.items
    assert any("another version" in caution for caution in found.cautions)


def _called(table: PackTable, year: int) -> PackTable:
    """Return the cellar as it is called once its numbers were used again in another year."""
    names = {name: table.rows[name] + f" ({year})" for name in ("run", "batch")}
    return replace(table, rows=table.rows.assign(**names))


def test_a_matter_keeps_its_answer_when_its_numbers_are_used_again_next_year(weeks, ledger):
    first = the_rise(held(weeks(40), ledger))
    answer(first, ledger)
    now = the_rise(held(_called(weeks(40), 2026), ledger))
    assert now.matter.runs[0] == f"{first.matter.runs[0]} (2026)"
    assert (now.code, now.grew_by) == (first.code, 0)
    assert now.answer is not None


def test_an_answer_is_never_passed_on_to_the_runs_of_another_year(weeks, ledger):
    answer(the_rise(held(weeks(40), ledger)), ledger)
    table = _called(weeks(40), 2025)
    earlier = {name: table.rows[name] - pd.DateOffset(years=1) for name in ("packed_at", "measured_at")}
    now = the_rise(held(replace(table, rows=table.rows.assign(**earlier)), ledger))
    assert now.answer is None
