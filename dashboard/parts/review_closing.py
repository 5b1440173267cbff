"""How is a review closed, and what does closing fix?"""

from __future__ import annotations

from dataclasses import replace

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from analysis.findings.review import ReviewFinding
from analysis.findings.review_actions import StandingAction
from analysis.findings.review_closings import ClosedAction, ClosedItem, closing_faults, keep_closed
from analysis.findings.review_items import Item
from analysis.findings.wording import count, day
from analysis.ledger import Ledger, LedgerError
from dashboard.parts.review_memory import done_differently

__all__ = ["CLOSE", "CLOSER", "NOTE", "PRESENT", "close", "closing_words", "form"]

PRESENT = "review-present"
NOTE = "review-note"
CLOSER = "review-closer"
CLOSE = "review-close"


def form() -> Component:
    """Return the form that closes the review."""
    return html.Div(
        className="review-form",
        children=[
            dmc.TextInput(id=PRESENT, label="Who was there?", placeholder="names, with commas between them"),
            dmc.Textarea(id=NOTE, label="A note (may stay empty)", autosize=True, minRows=2),
            html.Div(
                className="review-send",
                children=[
                    dmc.TextInput(
                        id=CLOSER, label="Your name", persistence=True, persistence_type="local", autoComplete="name"
                    ),
                    dmc.Button("Close the review", id=CLOSE),
                ],
            ),
        ],
    )


def closing_words(finding: ReviewFinding) -> str:
    """Return what closing will fix."""
    total = len(finding.every)
    open_ones = sum(item.answer is None for item in finding.every)
    until = "" if finding.until is None else f", with the runs up to {day(finding.until)}"
    seen = f"Closing keeps what was seen today: {count(total, 'matter')}{until}, and every answer."
    if not total:
        return f"There is nothing to answer{until}. Closing keeps that the review was held."
    if not open_ones:
        return f"{seen} Every matter has an answer."
    which = "one without an answer is" if open_ones == 1 else f"{open_ones} without an answer are"
    return f"{seen} The {which} carried over to the next review."


def close(
    ledger: Ledger, finding: ReviewFinding, present: object, note: object, by: object
) -> tuple[Component, dict[str, str], bool]:
    """Close the review; return what is said, faults by field, and whether it was closed."""
    there, said, who = (value if isinstance(value, str) else "" for value in (present, note, by))
    faults = dict(closing_faults(there, who, said))
    if faults:
        return html.P("Not closed yet: look at the fields above.", className="caution"), faults, False
    last = finding.last
    try:
        closed, now = keep_closed(
            ledger, there, said, who,
            last_seen=0 if last is None else last.number, until=finding.until, state=finding.ledger_state,
            items=[_item(item) for item in finding.every], actions=[_action(action) for action in finding.actions],
        )  # fmt: skip
    except LedgerError as error:
        return html.P(f"It was not closed. {error}", className="caution"), {}, False
    link = dcc.Link(f"The record of review {closed.number}", href=f"/review/{closed.number}")
    words = "Closed. " if now else f"{closed.by} has closed it meanwhile. "
    return html.P([words, link, " can be printed."]), {}, True


def _item(item: Item) -> ClosedItem:
    told = done_differently(item)
    sentences = () if told is None else told.in_sentences
    answer = "" if item.answer is None else item.answer.in_words
    return ClosedItem(replace(item.seen, done=sentences), str(item.standing), answer)


def _action(action: StandingAction) -> ClosedAction:
    effect = "" if action.effect is None else action.effect.sentence
    told = action.answer.action
    what = f"{action.what} ({told.by})" if told is not None else action.what
    return ClosedAction(action.item.key.title, what, action.standing, effect)
