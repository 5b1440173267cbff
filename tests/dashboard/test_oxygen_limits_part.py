"""Can a brewery set its own oxygen limits on the page, in a name and for a reason, and take them back?"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from analysis.findings.oxygen_limits import oxygen_limits
from dashboard.parts import oxygen_limits as part


@pytest.fixture
def press(app, monkeypatch):
    announced = []
    monkeypatch.setattr(part, "announce", announced.append)

    def go(button, *entries):
        with app.server.test_request_context("/"):
            monkeypatch.setattr(part.dash, "ctx", SimpleNamespace(triggered_id=button))
            return part.change(1, 1, *entries)

    go.announced = announced
    return go


def test_a_limit_is_set_said_and_taken_back(app, ledger, press):
    said, good, act = press(part.SET, "pack", "0.06 mg/L", "120 ppb", "our beer is old by then", "A. Maltby")
    assert "The closed pack: good up to 60.0 µg/L, action from 120 µg/L, set by A. Maltby" in said
    assert (good, act) == (None, None)
    assert press.announced == [ledger.state]
    with app.server.test_request_context("/"):
        assert "set by A. Maltby" in str(part.standing(1))
    assert "Done" in press(part.BACK, "pack", "", "", "a slip", "A. Maltby")[0]
    assert oxygen_limits(ledger) == ()
    with app.server.test_request_context("/"):
        assert part.standing(2) is None


@pytest.mark.parametrize(
    ("button", "entries", "said"),
    [
        (part.SET, ("pack", "60", "120 ppb", "why", "who"), "Write the unit: µg/L (ppb) or mg/L (ppm)."),
        (part.SET, ("pack", "60 ppb", "", "why", "who"), "Fill in: action from."),
        (part.SET, ("pack", "60 ppb", "30 ppb", "why", "who"), "Action must begin where good ends"),
        (part.SET, ("pack", "60 ppb", "90 ppb", " ", "who"), "Say why, and your name"),
        (part.SET, ("moon", "60 ppb", "90 ppb", "why", "who"), "Action must begin"),
        (part.BACK, ("pack", "", "", "why", "who"), "No limit of yours stands"),
        (part.BACK, ("pack", "", "", "", ""), "Say why, and your name"),
    ],
)
def test_what_cannot_be_set_changes_nothing_and_is_said(ledger, press, button, entries, said):
    assert said in str(press(button, *entries))
    assert press.announced == []
    assert ledger.state == 0
