"""Does the meters page draw the checks, mark a meter that moved, and let it be taken away?"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import MeterDecision
from analysis.findings.meter_otherwise import Otherwise
from analysis.findings.meter_repeats import RepeatStudy
from analysis.findings.meter_standing import Standing
from analysis.findings.meter_study import crossed
from analysis.findings.meters import meters as ask
from analysis.findings.wording import amount
from analysis.ledger import Snapshot
from analysis.vocabulary import measure as measure_of
from dashboard.figures.meter_chart import drawing_of_checks
from dashboard.pages import meters
from dashboard.parts import exports

LAST = 39


@pytest.fixture(scope="module")
def finding():
    """DO1 reads 6 % higher from its 26th check on, DO2 is steady, HZ was checked three times."""
    draw = np.random.default_rng(11)
    rows = []
    for week in range(LAST + 1):
        at = pd.Timestamp("2026-01-05 08:00") + pd.Timedelta(weeks=week)
        for meter, bias in (("DO1", 0.06 if week >= 25 else 0.0), ("DO2", 0.0)):
            shown = 9_000 * float(np.exp(bias + draw.normal(0, 0.005)))
            rows.append(("dissolved_oxygen", meter, at, 9_000.0, shown))
            rows.append(("dissolved_oxygen", meter, at, 0.0, float(draw.normal(1, 0.5))))
    rows += [("haze", "HZ", pd.Timestamp("2026-01-05") + pd.Timedelta(weeks=w), 1.0, 1.02 + 0.01 * w) for w in range(3)]
    frame = pd.DataFrame(rows, columns=["quantity", "meter", "checked_at", "reference", "observed"])
    return ask(Snapshot.of({"meter_checks": frame}))


@pytest.fixture
def on_finding(on_table, finding, monkeypatch):
    monkeypatch.setattr(meters, "asked", lambda _table: finding)
    return on_table


def test_the_meter_that_moved_stands_first(finding):
    shown = meters.shown_checks(finding)
    assert shown[0].name == "DO1, dissolved oxygen, against a reference"
    assert [str(one.checked.course.state) for one in shown[:2]] == ["shifted", "too few checks"]
    assert len(shown) == 5


def test_the_checks_are_drawn_in_percent_with_the_date_of_the_move(finding):
    first = meters.shown_checks(finding)[0]
    drawing = drawing_of_checks(first.meter, first.checked)
    assert drawing.unit == "%"
    assert np.mean(drawing.values[25:]) == pytest.approx(100 * np.expm1(0.06), abs=0.3)
    assert len(drawing.values) == LAST + 1
    assert drawing.beyond[25:].all()
    (shift,) = drawing.shifts
    assert shift.earliest <= pd.Timestamp("2026-06-29 08:00") <= shift.latest


def test_against_zero_is_drawn_in_the_kept_unit(finding):
    zero = next(one for one in meters.shown_checks(finding) if one.checked.against_zero)
    assert drawing_of_checks(zero.meter, zero.checked).unit == "µg/L"
    assert drawing_of_checks(zero.meter, zero.checked).shifts == []


def test_the_page_shows_the_chosen_checks(on_finding, finding):
    options, chosen = meters.offer_checks(1, None)
    assert chosen == options[0] == "DO1, dissolved oxygen, against a reference"
    assert meters.offer_checks(1, options[2])[1] == options[2]
    answer, nothing, hidden, name, figure, caption, below = meters.show(chosen, "light")
    assert (answer, nothing, hidden, name) == (finding.answer, None, False, chosen)
    assert "has shifted" in answer
    assert "95 % interval" in "".join(caption)
    assert figure["data"]
    assert "state-shifted" in str(below)
    assert "too few checks" in str(below)


def test_nothing_checked_says_what_to_do(on_table, monkeypatch):
    monkeypatch.setattr(meters, "asked", lambda _table: ask(Snapshot.empty()))
    assert meters.offer_checks(0, None) == ([], None)
    answer, nothing, hidden, *_ = meters.show(None, "dark")
    assert "No meter check" in answer
    assert "meter book" in str(nothing)
    assert hidden
    with pytest.raises(exports.NothingToTakeError):
        meters.take_away(Filters(), {}, "csv")


def test_states_and_repeats_can_be_taken_away(on_finding, finding):
    states = meters.states_frame(finding)
    assert len(states) == len(meters.shown_checks(finding))
    assert {"bias", "low", "high", "unit", "state", "since"} <= set(states)
    assert b"shifted" in meters.TAKE_AWAY["meter-states"](Filters(), {}, "csv")
    assert len(meters.repeats_frame(finding)) == sum(len(study.meters) for study in finding.studies)


def test_every_check_can_be_taken_away(on_finding, finding):
    frame = meters.checks_frame(finding)
    assert len(frame) == 4 * (LAST + 1) + 3
    assert set(frame["state_now"]) == {"shifted", "steady", "too few checks"}
    assert b"DO1" in meters.take_away(Filters(), {}, "csv")


def test_verdicts_that_would_be_another_stand_by_themselves(on_finding):
    told = (
        Otherwise("total_oxygen", "cone_dumps", "lowers", "lowers", "lowers", 12),
        Otherwise("total_oxygen", "rouse_count", "raises", "cannot tell yet", "cannot tell yet", 12),
    )
    heading, words, table, every = meters.otherwise_part(told, "Charts use those of DO1 set right.")
    assert "or set aside. Charts use those of DO1 set right." in str(words)
    assert "The verdicts without" in str(heading)
    assert "1 verdict would be another" in str(words)
    assert "12 readings" in str(words)
    assert "Rouses" in str(table)
    assert "Cone dumps" not in str(table)
    assert "Cone dumps" in str(every)
    assert meters.otherwise_part(()) == []


def test_a_meter_that_read_no_pack_changes_no_verdict(on_finding):
    assert meters.show_otherwise(5) == []


def test_it_is_said_which_of_the_ways_is_in_use(finding):
    assert meters.in_use(finding) == "Charts and verdicts use them as they were read."
    what = MeterTreatment("DO1", "dissolved_oxygen", Treatment.SET_RIGHT)
    decision = MeterDecision(1, what, None, "so", "Ines", datetime(2026, 8, 3), 2, None)
    decided = replace(finding, standing=(Standing(decision, 3, "", ""),))
    assert meters.in_use(decided).startswith("Charts and verdicts use those of DO1 set right, and every other reading")


def test_repeatability_and_reproducibility_stand_as_shares(on_table):
    study = crossed(np.random.default_rng(2).normal(0, 0.02, (8, 2, 3)) + np.linspace(-1, 1, 8)[:, None, None])
    told = RepeatStudy(measure_of("haze"), True, study, 1.0, 0.05, float(np.log(1.05)), True, 2, ())
    shown = str(meters.study_part(told))
    for name, spread in (("repeatability", study.repeatability), ("reproducibility", study.reproducibility)):
        document = told.as_document()[name]
        assert document["share_of_spread"] == pytest.approx(spread / study.total)
        assert document["limit"] == pytest.approx(np.expm1(1.96 * np.sqrt(2) * spread))
        assert document["share_of_margin"] == pytest.approx(1.96 * np.sqrt(2) * spread / np.log(1.05))
        assert f"({name})" in shown
        assert amount(100 * document["share_of_margin"], "%", digits=2) in shown
