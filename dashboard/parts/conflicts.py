"""Which records contradict each other, and which of them is right?"""

from __future__ import annotations

from collections.abc import Sequence

import dash_mantine_components as dmc
from dash import MATCH, Dash, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.contradictions import conflict_title, said_by, where_said
from analysis.findings.wording import count
from analysis.ledger import Conflict, LedgerError
from dashboard.parts.context import context
from dashboard.parts.ids import LEDGER_STATE
from dashboard.parts.ledger_state import announce

__all__ = ["conflict_list", "places", "register", "settle"]

PLACE = "conflicts-place"
_SHOWN = 20
_LONGEST = 500


def places() -> list[Component]:
    """Return the part of the page where conflicts stand."""
    return [html.Div(id=PLACE)]


def conflict_list(conflicts: Sequence[Conflict]) -> list[Component] | None:
    """Return the open conflicts, each with all its values and a way to settle it; None where there is none."""
    if not conflicts:
        return None
    left = len(conflicts) - _SHOWN
    return [
        html.H2("Records that contradict each other"),
        html.P(
            f"{count(len(conflicts), 'thing is', 'things are')} on record with more than one value. Until somebody "
            "says which is right, none of them counts in any chart or verdict."
        ),
        html.Ol([html.Li(_conflict(conflict)) for conflict in conflicts[:_SHOWN]], className="conflicts"),
        html.P(f"{left:,} more {'follows' if left == 1 else 'follow'} once these are settled.", className="soft")
        if left > 0
        else None,
    ]


def _conflict(conflict: Conflict) -> list[Component]:
    number = conflict.number
    return [
        html.P(html.Strong(conflict_title(conflict)), className="problem-what"),
        dmc.RadioGroup(
            id={"type": "conflict-keep", "conflict": number},
            label="Which is right?",
            children=[
                dmc.Radio(value=str(claim.record), label=_claim_words(conflict, place), className="conflict-claim")
                for place, claim in enumerate(conflict.claims)
            ],
        ),
        html.Div(
            className="conflict-settle",
            children=[
                dmc.TextInput(id={"type": "conflict-because", "conflict": number}, label="How you know"),
                dmc.TextInput(
                    id={"type": "conflict-who", "conflict": number},
                    label="Your name",
                    persistence="conflict-who",
                    persistence_type="local",
                    autoComplete="name",
                ),
                dmc.Button("Settle", id={"type": "conflict-settle", "conflict": number}, variant="default"),
            ],
        ),
        html.Div(id={"type": "conflict-fault", "conflict": number}, role="alert"),
    ]


def _claim_words(conflict: Conflict, place: int) -> str:
    claim = conflict.claims[place]
    return f"{said_by(conflict, claim)} ({where_said(claim)})"


def show_conflicts(_state: int | None) -> list[Component] | None:
    """Show the conflicts that nobody has settled."""
    return conflict_list(context().ledger.conflicts())


def settle(clicks: int | None, keep: object, because: object, who: object):
    """Settle one conflict: keep one row, for the reason given, in the name of the person who says so."""
    if not clicks:
        raise PreventUpdate
    fault = _missing(keep, because, who)
    if fault:
        return html.P(fault, className="caution")
    ledger, number = context().ledger, ctx.triggered_id["conflict"]
    conflict = next((c for c in ledger.conflicts() if c.number == number), None)
    if conflict is None or str(keep) not in {str(claim.record) for claim in conflict.claims}:
        return html.P("This was settled meanwhile. Reload the page.", className="caution")
    try:
        ledger.resolve(number, int(str(keep)), str(because)[:_LONGEST], str(who)[:120])
    except (LedgerError, ValueError) as error:
        return html.P(f"It was not settled. {error}", className="caution")
    announce(ledger.state)
    return None


def _missing(keep: object, because: object, who: object) -> str:
    if not isinstance(keep, str):
        return "Choose the value that is right."
    if not isinstance(because, str) or not because.strip():
        return "Say how you know: the reason is kept."
    if not isinstance(who, str) or not who.strip():
        return "Say your name: it is kept with the reason."
    return ""


def register(app: Dash) -> None:
    """Wire the conflicts."""
    app.callback(Output(PLACE, "children"), Input(LEDGER_STATE, "data"))(show_conflicts)
    app.callback(
        Output({"type": "conflict-fault", "conflict": MATCH}, "children"),
        Input({"type": "conflict-settle", "conflict": MATCH}, "n_clicks"),
        State({"type": "conflict-keep", "conflict": MATCH}, "value"),
        State({"type": "conflict-because", "conflict": MATCH}, "value"),
        State({"type": "conflict-who", "conflict": MATCH}, "value"),
        prevent_initial_call=True,
    )(settle)
