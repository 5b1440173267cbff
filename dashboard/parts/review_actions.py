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
    """Return every action that stands: what, by whom, until when, and whether it worked, matter by matter."""
    if not actions:
        return [html.P("No action stands. An answer with a cause may name one.", className="soft")]
    return [html.Ul([html.Li(_action(together)) for together in _together(actions)], className="review-actions")]


def _together(actions: Sequence[StandingAction]) -> list[list[StandingAction]]:
    """Return the actions with those that are one and the same, given as an answer to several matters, together."""
    same: dict[object, list[StandingAction]] = {}
    for action in actions:
        done = None if action.answer.done is None else action.answer.done.on
        same.setdefault((action.answer.action, done), []).append(action)
    return list(same.values())


def _action(together: Sequence[StandingAction]) -> list[Component]:
    first = together[0]
    told = first.answer.action
    who = "" if told is None else f", {told.by}"
    late = "review-late" if first.overdue else "review-due"
    parts: list[Component] = [
        html.P([html.Strong(f"{first.what}{who}"), html.Span(first.standing, className=f"review-tag {late}")])
    ]
    parts += [part for action in together for part in _on_its_matter(action)]
    if first.answer.done is None:
        parts.append(_done_form("-".join(str(action.answer.number) for action in together)))
    return parts


def _on_its_matter(action: StandingAction) -> list[Component]:
    button = html.Button(
        f"{action.item.key.title}: {action.item.size}",
        id={"type": "review-choose", "code": action.item.code},
        type="button",
        className="link-button",
    )
    if action.effect is not None:
        look = _LOOKS[str(action.effect.verdict)]
        return [html.P(button), html.P(action.effect.sentence, className=f"review-effect review-effect-{look}")]
    if action.answer.done is not None:
        gone = "Its matter is on no chart any more: whether it worked cannot be told."
        return [html.P(button), html.P(gone, className="soft")]
    return [html.P(button)]


def _done_form(answer: str) -> Component:
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
        for number in str(ctx.triggered_id["answer"]).split("-"):
            mark_done(ledger, int(number), day, name, today)
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
