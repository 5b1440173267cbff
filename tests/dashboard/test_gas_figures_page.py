"""Does the page of figures answer what is typed, say at its field what is wrong, and take it all from an address?"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from analysis.findings.beer_factor import WATER, beer_factor
from analysis.findings.gas_figures import FIGURES
from dashboard.pages import gas_figures


def entries(component, found=None):
    """The fields of a page, by name."""
    found = {} if found is None else found
    name = getattr(component, "id", None)
    if isinstance(name, dict):
        found[name["name"]] = component
    children = getattr(component, "children", None) or []
    for child in children if isinstance(children, (list, tuple)) else [children]:
        entries(child, found)
    return found


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.name)
def test_each_figure_has_its_fields_filled_as_usual(app, figure):
    with app.server.test_request_context("/"):
        shown = entries(gas_figures.layout(figure=figure.name))
    assert {name: field.value for name, field in shown.items()} == {f.name: f.usual for f in figure.fields}
    told = gas_figures.view(figure.name, {f.name: f.usual for f in figure.fields}, WATER)
    assert told.answer.endswith(".")
    assert not any(told.errors)


def test_the_address_fills_the_fields_and_may_empty_one(app):
    with app.server.test_request_context("/"):
        shown = entries(gas_figures.layout(figure="trapped", air="1 mL", length="-", bore="-", beer="x" * 500))
    assert (shown["air"].value, shown["length"].value, shown["bore"].value) == ("1 mL", "", "")
    assert len(shown["beer"].value) < 100


def test_an_unknown_figure_in_the_address_is_the_first(app):
    with app.server.test_request_context("/"):
        assert set(entries(gas_figures.layout(figure="../etc"))) == {f.name for f in FIGURES[0].fields}


def test_what_is_typed_is_answered(app):
    ids = [{"type": "figure-entry", "name": f.name} for f in FIGURES[0].fields]
    values = ["5", "101.325 kPa", "0 bar", "20.946 %", "101.325 kPa", None]
    with app.server.test_request_context("/"):
        answer, beside, below, errors = gas_figures.show(values, 0, ids, "purge")
    assert "0.655 %" in answer
    assert "6,550 ppmv" in str(beside)
    assert "mass balance" in str(beside)
    assert "EH40" in str(below)
    assert "clears nothing" in str(below)
    assert errors == [None] * 6


def test_what_is_wrong_stands_at_its_field():
    told = gas_figures.view("purge", {"gauge": "1", "outside": "80 °C"}, WATER)
    by_field = dict(zip([f.name for f in FIGURES[0].fields], told.errors, strict=True))
    assert "bar, psi or kPa" in by_field["gauge"]
    assert "no unit that this can have" in by_field["outside"]
    assert by_field["cycles"] == ""
    assert "2 entries cannot be used yet" in told.answer
    assert "clears nothing" in str(told.below)


def test_the_page_stands_at_its_address(app):
    answer = app.server.test_client().get("/figures?figure=shaken", headers={"Host": "localhost"})
    assert answer.status_code == 200


def asked(app, monkeypatch, button, value, because, who):
    """Press one of the factor's buttons."""
    said = []
    monkeypatch.setattr(gas_figures, "announce", said.append)
    with app.server.test_request_context("/"):
        monkeypatch.setattr(gas_figures.dash, "ctx", SimpleNamespace(triggered_id=button))
        return str(gas_figures.change_factor(1, 1, value, because, who)), said


def test_the_factor_is_set_in_somebodys_name_and_taken_back(app, ledger, monkeypatch):
    with app.server.test_request_context("/"):
        assert "the default" in gas_figures.say_factor(0)
    told, announced = asked(app, monkeypatch, gas_figures.FACTOR_SET, "0,95", "a titration", "A. Maltby")
    assert "by A. Maltby" in told
    assert announced == [ledger.state]
    assert beer_factor(ledger).value == 0.95
    with app.server.test_request_context("/"):
        assert "0.950 times" in gas_figures.say_factor(1)
        ids = [{"type": "figure-entry", "name": f.name} for f in FIGURES[3].fields]
        below = gas_figures.show([f.usual for f in FIGURES[3].fields], 1, ids, "shaken")[2]
    assert "a setting by A. Maltby" in str(below)
    told, _ = asked(app, monkeypatch, gas_figures.FACTOR_BACK, "", "a slip", "A. Maltby")
    assert "the default" in told


@pytest.mark.parametrize(
    ("button", "value", "because", "who", "said"),
    [
        (gas_figures.FACTOR_SET, "much", "why", "who", "between 0.5 and 1.2"),
        (gas_figures.FACTOR_SET, "9", "why", "who", "between 0.5 and 1.2"),
        (gas_figures.FACTOR_SET, "nan", "why", "who", "between 0.5 and 1.2"),
        (gas_figures.FACTOR_SET, "0.95", " ", "who", "Say why"),
        (gas_figures.FACTOR_SET, "0.95", "why", None, "Say your name"),
        (gas_figures.FACTOR_BACK, None, "why", "who", "nothing to take back"),
    ],
)
def test_a_factor_that_cannot_be_set_changes_nothing(app, ledger, monkeypatch, button, value, because, who, said):
    told, announced = asked(app, monkeypatch, button, value, because, who)
    assert said in told
    assert announced == []
    assert ledger.state == 0
