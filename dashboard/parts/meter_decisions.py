"""What is done with the readings of a meter that has moved, who decided so and why, and how is it taken back?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import dash_mantine_components as dmc
from dash import MATCH, Dash, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import MeterDecision, decide_meter, take_back_meter, why_not
from analysis.findings.meter_standing import Standing
from analysis.findings.meters import MetersFinding
from analysis.findings.wording import day
from analysis.ledger import Ledger, LedgerError
from analysis.vocabulary import measure as measure_of
from dashboard.parts.context import context
from dashboard.parts.ids import LEDGER_STATE
from dashboard.parts.ledger_state import announce
from dashboard.parts.tables import Column, data_table, short_day

__all__ = ["Typed", "asked_treatment", "decisions_part", "meter_options", "places", "register", "undone"]

PLACE = "meter-decisions"
FORM = "meter-decide"
METER = "meter-decide-meter"
WAY = "meter-decide-way"
SINCE = "meter-decide-since"
UNTIL = "meter-decide-until"
BECAUSE = "meter-decide-because"
WHO = "meter-decide-who"
BUTTON = "meter-decide-button"
SAID = "meter-decide-said"
_LONGEST, _LONGEST_NAME = 500, 120
_APART = " · "
_WAYS = (
    (Treatment.SET_RIGHT, "Set its readings right by what its checks say it has moved"),
    (Treatment.SET_ASIDE, "Set its readings aside: they then count nowhere"),
)


@dataclass(frozen=True)
class Typed:
    """What a person typed into the form, each as the browser sends it."""

    meter: object
    way: object
    since: object
    until: object
    because: object
    who: object


def places() -> list[Component]:
    """Return the decisions' place and the form."""
    return [html.Div(id=PLACE, className="meter-decisions"), html.Div(_form(), id=FORM, hidden=True)]


def _form() -> Component:
    return html.Details(
        [
            html.Summary("Decide about a meter’s readings"),
            html.P(
                "Nothing on record is changed, and a decision can be taken back. Every chart, verdict and file that "
                "uses these readings then says so, and what it would be without.",
                className="measure",
            ),
            dmc.Select(id=METER, label="Meter", data=[], allowDeselect=False),
            dmc.RadioGroup(
                id=WAY,
                label="What is to be done?",
                value=str(Treatment.SET_RIGHT),
                children=html.Div([dmc.Radio(value=str(way), label=label) for way, label in _WAYS], className="ways"),
            ),
            html.Div(
                [
                    dmc.TextInput(
                        id=SINCE, label="From", inputProps={"type": "date"}, value="",
                        description="Empty: since its checks show that it moved",
                    ),
                    dmc.TextInput(
                        id=UNTIL, label="To", inputProps={"type": "date"}, value="",
                        description="Empty: until its checks show that it came back",
                    ),
                ],
                className="meter-days",
            ),
            dmc.TextInput(id=BECAUSE, label="Why"),
            dmc.TextInput(
                id=WHO, label="Your name", persistence="meter-who", persistence_type="local", autoComplete="name"
            ),
            dmc.Button("Decide", id=BUTTON),
            html.Div(id=SAID, role="alert"),
        ],
        className="more meter-form",
    )  # fmt: skip


def meter_options(finding: MetersFinding) -> list[dict[str, str]]:
    """Return the meters that were checked, as a choice; those without a standing decision that moved first."""
    decided = {(one.decision.what.meter, one.decision.what.quantity) for one in finding.standing}
    found = sorted(
        finding.meters, key=lambda m: ((m.meter, m.measure.name) in decided, str(m.state) == "steady", m.meter)
    )
    return [
        {"value": f"{m.meter}{_APART}{m.measure.name}", "label": f"{m.meter}, {m.measure.label.lower()}, {m.state}"}
        for m in found
    ]


def decisions_part(finding: MetersFinding) -> list[Component | None]:
    """Return the decisions that stand, each with a way to take it back, and those that were taken back."""
    if not finding.meters and not finding.standing and not finding.taken_back:
        return []
    return [
        html.H2("What is done with their readings"),
        html.Ul([html.Li(_standing(one)) for one in finding.standing], className="decisions")
        if finding.standing
        else html.P("No decision stands: every reading is used as it was read."),
        _taken_back(finding.taken_back) if finding.taken_back else None,
    ]


def _standing(one: Standing) -> list[Component]:
    made = one.decision
    name = f"{made.what.meter}, {measure_of(made.what.quantity).label.lower()}"
    return [
        html.P([html.Strong(name), f": {one.says}"]),
        html.P(f"Decided by {made.by} on {day(made.at)}: “{made.because}”", className="measure"),
        html.P(one.course, className="measure soft"),
        _take_back_form(made),
    ]


def _take_back_form(made: MeterDecision) -> Component:
    number = made.number
    return html.Details(
        [
            html.Summary("Take it back"),
            dmc.TextInput(id={"type": "meter-back-because", "number": number}, label="Why it is taken back"),
            dmc.TextInput(
                id={"type": "meter-back-who", "number": number}, label="Your name", persistence="meter-who",
                persistence_type="local", autoComplete="name",
            ),
            dmc.Button("Take back", id={"type": "meter-back", "number": number}, variant="default"),
            html.Div(id={"type": "meter-back-said", "number": number}, role="alert"),
        ],
        className="more meter-back",
    )  # fmt: skip


def _taken_back(decisions: tuple[MeterDecision, ...]) -> Component:
    columns = (
        Column("Meter"), Column("Decision"), Column("Decided"), Column("Why", kind="prose"), Column("Taken back"),
        Column("Why", kind="prose"),
    )  # fmt: skip
    rows = [_back_row(one) for one in reversed(decisions)]
    return html.Details(
        [
            html.Summary("Decisions that were taken back"),
            data_table("Decisions about meters that were taken back", columns, rows),
        ],
        className="more",
    )


def _back_row(one: MeterDecision) -> tuple[str, ...]:
    back = one.taken_back
    assert back is not None
    days = [
        f"from {short_day(one.what.since)}" if one.what.since else "",
        f"to {short_day(one.what.until)}" if one.what.until else "",
    ]
    told = " ".join([str(one.what.treatment), *(part for part in days if part)])
    return (
        one.what.meter, told, f"{short_day(one.at)}, {one.by}", one.because, f"{short_day(back.at)}, {back.by}",
        back.because,
    )  # fmt: skip


def asked_treatment(typed: Typed, finding: MetersFinding) -> MeterTreatment | str:
    """Return what was asked for, or in a sentence what is wrong with it."""
    meter, _, quantity = str(typed.meter or "").partition(_APART)
    if not quantity:
        return "Choose a meter."
    if typed.way not in {str(way) for way in Treatment}:
        return "Choose what is to be done."
    since, until = _day(typed.since), _day(typed.until)
    what = MeterTreatment(meter, quantity, Treatment(str(typed.way)), since, until)
    why = why_not(what, [one.decision for one in finding.standing], finding.meters)
    return why or undone(typed.because, typed.who) or what


def undone(because: object, who: object) -> str:
    """Return what is missing of why and who, "" where nothing is."""
    if not isinstance(because, str) or not because.strip():
        return "Say why: the reason is kept."
    if not isinstance(who, str) or not who.strip():
        return "Say your name: it is kept with the reason."
    return ""


def _day(told: object) -> date | None:
    try:
        return date.fromisoformat(told) if isinstance(told, str) and told else None
    except ValueError:
        return None


def kept(ledger: Ledger, finding: MetersFinding, typed: Typed) -> Component | None:
    """Keep a decision; return what is wrong where it was not."""
    what = asked_treatment(typed, finding)
    if isinstance(what, str):
        return _caution(what)
    try:
        because, who = str(typed.because)[:_LONGEST], str(typed.who)[:_LONGEST_NAME]
        decide_meter(ledger, what, because, who, finding.meters)
    except (LedgerError, ValueError) as error:
        return _caution(f"It was not kept. {error}")
    return None


def taken_back(ledger: Ledger, number: int, because: object, who: object) -> Component | None:
    """Take a decision back; return what is wrong where it was not."""
    missing = undone(because, who)
    if missing:
        return _caution(missing)
    try:
        take_back_meter(ledger, number, str(because)[:_LONGEST], str(who)[:_LONGEST_NAME])
    except (LedgerError, ValueError):
        return _caution("It was taken back meanwhile, or the ledger could not be written. Reload the page.")
    return None


def _caution(words: str) -> Component:
    return html.P(words, className="caution")


def register(app: Dash, asked: Any) -> None:
    """Wire the decisions; ``asked`` is the question of the page, as ``Context.answer`` takes it."""

    def show(_state: int | None) -> tuple[Any, ...]:
        finding = context().answer(asked)
        options = meter_options(finding)
        first = options[0]["value"] if options else None
        return decisions_part(finding), not options, options, first, "", "", ""

    def decide(clicks: int | None, *typed: object) -> Component | None:
        if not clicks:
            raise PreventUpdate
        wrong = kept(context().ledger, context().answer(asked), Typed(*typed))
        if wrong is None:
            announce(context().ledger.state)
        return wrong

    def take_back(clicks: int | None, because: object, who: object) -> Component | None:
        if not clicks:
            raise PreventUpdate
        wrong = taken_back(context().ledger, _number(ctx.triggered_id), because, who)
        if wrong is None:
            announce(context().ledger.state)
        return wrong

    _wire(app, show, decide, take_back)


def _number(triggered: Mapping[str, int]) -> int:
    return int(triggered["number"])


def _wire(app: Dash, show: Any, decide: Any, take_back: Any) -> None:
    app.callback(
        Output(PLACE, "children"),
        Output(FORM, "hidden"),
        Output(METER, "data"),
        Output(METER, "value"),
        Output(SINCE, "value"),
        Output(UNTIL, "value"),
        Output(BECAUSE, "value"),
        Input(LEDGER_STATE, "data"),
    )(show)
    app.callback(
        Output(SAID, "children"),
        Input(BUTTON, "n_clicks"),
        *(State(one, "value") for one in (METER, WAY, SINCE, UNTIL, BECAUSE, WHO)),
        prevent_initial_call=True,
    )(decide)
    app.callback(
        Output({"type": "meter-back-said", "number": MATCH}, "children"),
        Input({"type": "meter-back", "number": MATCH}, "n_clicks"),
        State({"type": "meter-back-because", "number": MATCH}, "value"),
        State({"type": "meter-back-who", "number": MATCH}, "value"),
        prevent_initial_call=True,
    )(take_back)
