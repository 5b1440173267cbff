"""Does the review of the invented brewery tell its truth: the oxygen shift and its repair, the climb, the meter?"""

from __future__ import annotations

import json
import math
from datetime import date

import pandas as pd
import pytest
from click.testing import CliRunner

from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import decide_meter, meter_decisions, take_back_meter
from analysis.findings.meters import meters
from analysis.findings.practices import practices
from analysis.findings.review import review
from analysis.findings.review_differences import differences
from analysis.findings.review_drafts import AnswerDraft, keep_answer
from analysis.findings.review_effects import Worked
from analysis.findings.review_matters import matters_on_record
from analysis.findings.review_words import told
from analysis.ledger import Ledger, snapshot
from analysis.linking import pack_table
from analysis.records import SourceFile, take_in
from dashboard.commands import main
from data_demo import truth
from data_demo.workbooks import write_workbooks

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    folder = tmp_path_factory.mktemp("review_demo")
    files = tuple(SourceFile(path, path.name) for path in write_workbooks(folder))
    with Ledger.open(f"sqlite:///{folder / 'ledger.sqlite'}") as opened:
        opened.commit(take_in(files), by="the demo")
        yield opened


@pytest.fixture(scope="module")
def table(ledger):
    return pack_table(ledger)


@pytest.fixture(scope="module")
def matters(table):
    return matters_on_record(table)


@pytest.fixture(scope="module")
def shift(matters):
    return next(m for m in matters if m.key.measure == "total_oxygen" and m.key.line == truth.OXYGEN_SHIFT.line)


def test_the_shift_is_the_worst_matter_and_told_with_its_repair(matters, shift):
    assert matters[0] is shift
    move, back = shift.stretch.move, shift.stretch.ended_by
    assert move.earliest <= pd.Timestamp(truth.OXYGEN_SHIFT.begins) + pd.Timedelta(days=7)
    assert back.earliest <= pd.Timestamp(truth.OXYGEN_SHIFT.repaired) <= back.latest
    said = told(shift)
    assert "The level rose by" in said
    assert "It came back about" in said
    assert shift.harmful
    assert not shift.lasts


def test_the_shift_is_left_unexplained_by_the_practices(shift, table):
    found = differences(shift, table, practices(table, "total_oxygen"))
    assert sum(line.share for line in found.lines) + found.unexplained == pytest.approx(found.move)
    assert found.unexplained > 0.7 * found.move
    assert {one.practice for one in found.not_assessed} >= {"tank", "silica_sol_dose"}


def test_the_climb_is_told_as_one_that_lasts(matters):
    climb = next(m for m in matters if m.key.measure == truth.CLIMB.measure and m.key.recipe == truth.CLIMB.recipe)
    assert climb.lasts
    assert climb.size.change > 0
    assert "It still stands so" in told(climb) or "It has not come back" in told(climb)


def test_where_a_climb_may_be_a_step_its_size_as_a_climb_holds_the_truth(matters):
    climb = next(m for m in matters if m.key.title == "Haze: P40, can")
    move = climb.stretch.move
    assert move.may_be_gradual
    assert move.if_slow.low <= 100 * math.expm1(truth.CLIMB.log_effect) <= move.if_slow.high
    assert f"if slowly, it is +{move.if_slow.percent:.0f} % in all" in told(climb)


def test_the_drifting_meter_is_named_beside_what_it_read(table, matters, ledger):
    found = review(table, matters, (), meters(snapshot(ledger), table), today=TODAY)
    assert any(words.startswith(f"{truth.METER_DRIFT.meter} (") for words in found.cautions)
    beside = [item for item in found.items if item.meters]
    assert beside
    assert all(item.meters[0].startswith(truth.METER_DRIFT.meter) for item in beside)
    assert all(item.key.measure in ("dissolved_oxygen", "total_oxygen") for item in beside)


def test_what_was_decided_about_the_meter_is_said_beside_it(table, matters, ledger):
    what = MeterTreatment(truth.METER_DRIFT.meter, "dissolved_oxygen", Treatment.SET_RIGHT)
    decided = decide_meter(ledger, what, "the checks", "Ann", meters(snapshot(ledger), table).meters)
    try:
        told_of = meters(snapshot(ledger), table, meter_decisions(ledger))
        found = review(table, matters, (), told_of, today=TODAY)
    finally:
        take_back_meter(ledger, decided.number, "the test is over", "Ann")
    said = f"Its readings are set right by decision {decided.number} (Ann)."
    assert {words.endswith(said) for item in found.items for words in item.meters} == {True}


def test_the_repair_is_told_to_have_worked(ledger, table, matters, shift):
    repaired = truth.OXYGEN_SHIFT.repaired.isoformat()
    draft = AnswerDraft("assigned cause", truth.OXYGEN_SHIFT.cause, "chuck replaced", "Bo", "", repaired, "Ann")
    item = review(table, matters, ledger.journal(), today=TODAY).items[0]
    keep_answer(ledger, item.seen, draft, TODAY, last_seen=0, codes=item.codes)
    (action,) = review(table, matters, ledger.journal(), today=TODAY).actions
    assert action.effect.verdict is Worked.WORKED
    assert action.effect.low < 100 * (1 / 1.35 - 1) < action.effect.high
    assert action.effect.against_others is not None


def test_the_command_tells_the_same(ledger, shift):
    ran = CliRunner().invoke(main, ["review", "--json", "--shares", "--ledger", f"sqlite:///{ledger.url}"])
    assert ran.exit_code == 0
    document = json.loads(ran.stdout)
    first = document["matters"][0]
    assert first["matter"] == shift.key.code
    assert first["told"] == told(shift)
    done = first["done_differently"]
    assert sum(line["share"] for line in done["lines"]) + done["unexplained"] == pytest.approx(done["move"])
    words = CliRunner().invoke(main, ["review", "--ledger", f"sqlite:///{ledger.url}"])
    assert words.exit_code == 0
    assert "Total package oxygen: line 1, all recipes" in words.stdout
    assert "OX2" in words.stderr
