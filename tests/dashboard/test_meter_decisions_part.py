"""Can a person decide about a meter's readings on its page, see what was decided, and take it back?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.findings.as_read_result import AsRead, Line
from analysis.findings.filters import Filters
from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import meter_decisions
from analysis.findings.meters import meters as ask
from analysis.ledger import Ledger, Snapshot
from analysis.linking import Remark
from dashboard.pages import charts, practices
from dashboard.parts import as_read
from dashboard.parts.meter_decisions import (
    Typed,
    asked_treatment,
    decisions_part,
    kept,
    meter_options,
    taken_back,
)

FIRST = pd.Timestamp("2026-01-05 08:00")


def records() -> Snapshot:
    """DO1 reads a tenth more from its twentieth check on, DO2 is steady; each read a pack a week."""
    draw = np.random.default_rng(5)
    checks, readings = [], []
    for week in range(40):
        at = FIRST + pd.Timedelta(weeks=week)
        for meter, bias in (("DO1", 0.1 if week >= 20 else 0.0), ("DO2", 0.0)):
            shown = 9_000 * float(np.exp(bias + draw.normal(0, 0.005)))
            checks.append(
                {"quantity": "dissolved_oxygen", "meter": meter, "checked_at": at, "reference": 9e3, "observed": shown}
            )
            readings.append({"measured_at": at, "quantity": "dissolved_oxygen", "value": 30.0, "meter": meter})
    return Snapshot.of({"meter_checks": pd.DataFrame(checks), "readings": pd.DataFrame(readings)}, state=4)


@pytest.fixture(scope="module")
def finding():
    return ask(records())


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


TYPED = Typed("DO1 · dissolved_oxygen", "set right", "", "", "reads high", "Ines")


def test_the_meter_that_moved_is_offered_first(finding):
    options = meter_options(finding)
    assert options[0] == {"value": TYPED.meter, "label": "DO1, dissolved oxygen, shifted"}
    assert len(options) == 2


def test_what_was_typed_becomes_a_treatment(finding):
    assert asked_treatment(TYPED, finding) == MeterTreatment("DO1", "dissolved_oxygen", Treatment.SET_RIGHT)
    typed = replace(TYPED, way="set aside", since="2026-06-01", until="2026-06-30")
    wanted = MeterTreatment("DO1", "dissolved_oxygen", Treatment.SET_ASIDE, date(2026, 6, 1), date(2026, 6, 30))
    assert asked_treatment(typed, finding) == wanted


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("meter", None, "Choose a meter"),
        ("way", "made up", "Choose what is to be done"),
        ("because", " ", "Say why"),
        ("who", None, "Say your name"),
        ("meter", "DO2 · dissolved_oxygen", "do not show that it has moved"),
    ],
)
def test_what_is_missing_is_said_and_nothing_kept(ledger: Ledger, finding, field: str, value: object, told: str):
    typed = replace(TYPED, **{field: value})
    assert told in str(asked_treatment(typed, finding))
    assert told in str(kept(ledger, finding, typed))
    assert ledger.state == 0


def test_a_decision_is_kept_shown_and_taken_back(ledger: Ledger, finding):
    assert kept(ledger, finding, TYPED) is None
    (made,) = meter_decisions(ledger)
    decided = ask(records(), decisions=[made])
    shown = str(decisions_part(decided))
    assert re.search(r"20 readings since 25 May 2026 are set right, as the meter read 10\.\d % too high\.", shown)
    assert "Decided by Ines on" in shown
    assert "“reads high”" in shown
    assert "Its checks say the same" in shown
    assert meter_options(decided)[-1]["value"] == TYPED.meter
    assert "already, by decision 1" in str(kept(ledger, decided, TYPED))
    assert "Say why" in str(taken_back(ledger, 1, "", "Tam"))
    assert taken_back(ledger, 1, "it was the standard", "Tam") is None
    assert "taken back meanwhile" in str(taken_back(ledger, 1, "again", "Tam"))
    after = str(decisions_part(ask(records(), decisions=meter_decisions(ledger, standing=False))))
    assert "No decision stands" in after
    assert "it was the standard" in after


def test_where_no_meter_is_known_nothing_stands(finding):
    assert decisions_part(ask(Snapshot.empty())) == []
    assert "No decision stands" in str(decisions_part(finding))


def test_what_would_be_another_opens_to_its_lines():
    lines = (Line("Rouses", "raises", "cannot tell yet"), Line("Cone dumps", "lowers", "lowers"))
    shown = str(as_read.view(AsRead("verdict", ("2 readings of meter DO1 are set right.",), lines)))
    assert "With every reading as it was read, 1 verdict would be another." in shown
    assert "2 readings of meter DO1" in shown
    assert "Rouses" in shown
    assert "Cone dumps" not in shown
    same = str(as_read.view(AsRead("chart", (), (lines[1],))))
    assert "no chart would show other signals or moves" in same
    assert "Cone dumps" in same
    assert as_read.view(None) is None


def test_files_of_charts_and_verdicts_carry_what_was_done(app, table, monkeypatch):
    touched = {("total_oxygen", "pack"): 7}
    remark = Remark("of meter M1 since 8 July 2026", "set right (decided by Ines: it drifts)", touched)
    treated = replace(table, remarks=(remark,), as_read=table)
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: treated)
    said = b"7 readings of meter M1 since 8 July 2026 are set right (decided by Ines: it drifts)."
    with app.server.test_request_context("/"):
        for page in (practices, charts):
            (take_away,) = page.TAKE_AWAY.values()
            assert said in take_away(Filters(), {"measure": "total_oxygen"}, "csv")
        assert said not in charts.take_away(Filters(), {"measure": "haze"}, "csv")
        assert "no verdict would be another" in str(as_read.show_verdicts(None, "total_oxygen", 5))
        assert "no chart would show other" in str(as_read.show_charts(None, "total_oxygen", "pack", None, 5))
        assert as_read.show_charts(None, "haze", "pack", None, 5) is None


def test_pages_without_a_treated_reading_show_no_comparison(on_table):
    assert as_read.show_verdicts(None, "haze", 5) is None
    assert as_read.show_verdicts(None, None, 5) is None
    assert as_read.show_charts(None, "haze", "pack", None, 5) is None
    assert as_read.show_charts(None, "", "pack", None, 5) is None
