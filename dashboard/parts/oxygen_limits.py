"""How does a brewery say how much oxygen is good at a point of the way, in whose name and why?"""

from __future__ import annotations

import dash
import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.figure_entries import Entered, Field, read_entry
from analysis.findings.oxygen_limits import WORKING_LIMITS, give_up_limit, oxygen_limits, set_limit
from analysis.ledger import LedgerError
from dashboard.parts.context import context
from dashboard.parts.ids import LEDGER_STATE
from dashboard.parts.ledger_state import announce

__all__ = ["limits_part", "register"]

POINT = "limit-point"
GOOD = "limit-good"
ACT = "limit-act"
BECAUSE = "limit-because"
WHO = "limit-who"
SET = "limit-set"
BACK = "limit-back"
SAID = "limit-said"
STANDING = "limit-standing"
_LONGEST = 300


def _field(name: str, label: str) -> Field:
    return Field(name, label, "dissolved_oxygen", lowest=0, highest=19_999, above=True, takes_spread=False)


_GOOD, _ACT = _field("good", "Good up to"), _field("act", "Action from")


def limits_part() -> Component:
    """Return the part in which limits are decided, shut until somebody wants it."""
    points = [{"value": limit.point, "label": _label(limit.label, limit.kind)} for limit in WORKING_LIMITS]
    return html.Details(
        [
            html.Summary("Set your own limits"),
            html.P(
                "A limit that you set here counts before a target on record and before a working one. It is kept with "
                "your name and reason, and can be taken back.",
                className="measure",
            ),
            html.Div(id=STANDING),
            html.Div(
                [
                    dmc.Select(id=POINT, label="Point", data=points, value=points[0]["value"], allowDeselect=False),
                    dmc.TextInput(id=GOOD, label=_GOOD.label, placeholder="such as 15 µg/L"),
                    dmc.TextInput(id=ACT, label=_ACT.label, placeholder="such as 30 µg/L"),
                    dmc.TextInput(id=BECAUSE, label="Why", className="factor-because"),
                    dmc.TextInput(
                        id=WHO, label="Your name", persistence=True, persistence_type="local", autoComplete="name"
                    ),
                    dmc.Button("Set the limit", id=SET),
                    dmc.Button("Take this point's last one back", id=BACK, variant="default"),
                ],
                className="factor-form",
            ),
            html.P(id=SAID, role="status"),
        ],
        className="more",
    )


def _label(label: str, kind: str) -> str:
    return f"{label[:1].upper()}{label[1:]}{', the rise' if kind == 'rise' else ''}"


def standing(_state: int | None) -> Component | None:
    """Say which limits were decided, by whom and why."""
    limits = oxygen_limits(context().ledger)
    return html.Ul([html.Li(limit.sentence) for limit in limits], className="measure") if limits else None


def change(_set: int | None, _back: int | None, point: object, good: object, act: object, because: object, who: object):
    """Set a point's limit or take its last one back; what is wrong with an entry is said beside it."""
    pressed = dash.ctx.triggered_id
    if pressed not in (SET, BACK):
        raise PreventUpdate
    told = [word.strip()[:_LONGEST] if isinstance(word, str) else "" for word in (because, who)]
    read = [read_entry(field, typed if isinstance(typed, str) else "") for field, typed in ((_GOOD, good), (_ACT, act))]
    faults = [None if isinstance(one, Entered) or pressed == BACK else getattr(one, "message", "") for one in read]
    if any(faults):
        return None, *faults
    if not all(told):
        return html.P("Say why, and your name: both are kept with the limit.", className="caution"), None, None
    return _done(str(point), [one.value for one in read if isinstance(one, Entered)], told), None, None


def _done(point: str, values: list[float], told: list[str]) -> Component | str:
    """Carry the decision out and say what came of it."""
    ledger = context().ledger
    try:
        if dash.ctx.triggered_id == BACK:
            give_up_limit(ledger, point, *told)
            said = "Done. What stood before stands again."
        else:
            said = f"Done. {set_limit(ledger, point, values[0], values[1], *told).sentence}"
    except ValueError:
        back = dash.ctx.triggered_id == BACK
        why = "No limit of yours stands for this point." if back else "Action must begin where good ends, or above."
        return html.P(why, className="caution")
    except LedgerError as error:
        return html.P(f"Nothing was changed. {error}", className="caution")
    announce(ledger.state)
    return said


def register(app: Dash) -> None:
    """Wire the part."""
    app.callback(Output(STANDING, "children"), Input(LEDGER_STATE, "data"))(standing)
    app.callback(
        Output(SAID, "children"),
        Output(GOOD, "error"),
        Output(ACT, "error"),
        Input(SET, "n_clicks"),
        Input(BACK, "n_clicks"),
        State(POINT, "value"),
        State(GOOD, "value"),
        State(ACT, "value"),
        State(BECAUSE, "value"),
        State(WHO, "value"),
        prevent_initial_call=True,
    )(change)
