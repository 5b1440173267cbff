"""Which actions stand, and have they worked?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import dash_mantine_components as dmc
from dash import MATCH, Dash, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.review_actions import StandingAction
from analysis.findings.review_drafts import mark_done, say_done
from analysis.ledger import LedgerError
from dashboard.parts.context import context
from dashboard.parts.ledger_state import announce

__all__ = ["actions_part", "done", "register"]

_LOOKS = {"worked": "worked", "did not work": "failed", "cannot tell yet": "unclear"}


def actions_part(actions: Sequence[StandingAction]) -> list[Component]:
    """Return every action that stands: what, by whom, until when, and whether it worked."""
    if not actions:
        return [html.P("No action stands. An answer with a cause may name one.", className="soft")]
    return [html.Ul([html.Li(_action(action)) for action in actions], className="review-actions")]


def _action(action: StandingAction) -> list[Component]:
    told = action.answer.action
    who = "" if told is None else f", {told.by}"
    late = "review-late" if action.overdue else "review-due"
    parts: list[Component] = [
        html.P([html.Strong(f"{action.what}{who}"), html.Span(action.standing, className=f"review-tag {late}")]),
        html.P(
            html.Button(
                f"{action.item.key.title}: {action.item.size}",
                id={"type": "review-choose", "code": action.item.code},
                type="button",
                className="link-button",
            )
        ),
    ]
    if action.effect is not None:
        look = _LOOKS[str(action.effect.verdict)]
        parts.append(html.P(action.effect.sentence, className=f"review-effect review-effect-{look}"))
    if action.answer.done is None:
        parts.append(_done_form(action.answer.number))
    elif action.effect is None:
        parts.append(html.P("Its matter is on no chart any more: whether it worked cannot be told.", className="soft"))
    return parts


def _done_form(answer: int) -> Component:
    return html.Details(
        className="more",
        children=[
            html.Summary("It is done…"),
            html.Div(
                className="review-send",
                children=[
                    dmc.TextInput(
                        id={"type": "review-did-on", "answer": answer},
                        label="On which day?",
                        inputProps={"type": "date"},
                    ),
                    dmc.TextInput(
                        id={"type": "review-did-by", "answer": answer},
                        label="Your name",
                        persistence="review-did-by",
                        persistence_type="local",
                        autoComplete="name",
                    ),
                    dmc.Button("Keep the day", id={"type": "review-did", "answer": answer}, variant="default"),
                ],
            ),
            html.Div(id={"type": "review-did-fault", "answer": answer}, role="alert"),
        ],
    )


def done(clicks: int | None, on: object, by: object):
    """Put on record that an action was done."""
    if not clicks or ctx.triggered_id is None:
        raise PreventUpdate
    day, name, today = _text(on), _text(by), date.today()
    faults = say_done(day, name, today)
    if faults:
        return faults.get("on", ""), faults.get("by", ""), None
    ledger = context().ledger
    try:
        mark_done(ledger, ctx.triggered_id["answer"], day, name, today)
    except (LedgerError, ValueError):
        return "", "", html.P("It was not kept. Reload the page and try again.", className="caution")
    announce(ledger.state)
    return "", "", None


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def register(app: Dash) -> None:
    """Wire the forms that say that an action is done."""
    app.callback(
        Output({"type": "review-did-on", "answer": MATCH}, "error"),
        Output({"type": "review-did-by", "answer": MATCH}, "error"),
        Output({"type": "review-did-fault", "answer": MATCH}, "children"),
        Input({"type": "review-did", "answer": MATCH}, "n_clicks"),
        State({"type": "review-did-on", "answer": MATCH}, "value"),
        State({"type": "review-did-by", "answer": MATCH}, "value"),
        prevent_initial_call=True,
    )(done)
