"""How is a matter answered in place?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.findings.review import ReviewFinding
from analysis.findings.review_answers import Answer, Outcome
from analysis.findings.review_drafts import AnswerDraft, keep_answer
from analysis.findings.review_items import Item
from analysis.findings.wording import count
from analysis.ledger import Ledger, LedgerError
from dashboard.parts.review_list import next_open

__all__ = ["FIELDS", "Filled", "Outcomes", "filled", "form", "keep", "shape"]

OUTCOME = "review-outcome"
BECAUSE = "review-because"
ACTION = "review-action"
ACTION_BY = "review-action-by"
UNTIL = "review-until"
DONE_ON = "review-done-on"
ALSO = "review-also"
WHO = "review-who"
KEEP = "review-keep"
DOING = "review-doing"
ALSO_PLACE = "review-also-place"
FIELDS = {
    "outcome": OUTCOME, "because": BECAUSE, "action": ACTION, "action_by": ACTION_BY, "until": UNTIL,
    "done_on": DONE_ON, "by": WHO,
}  # fmt: skip
_ALSO = "The same answer for these too? They were seen in the same runs."
_LABELS = {
    str(Outcome.CAUSE): "What is the cause?",
    str(Outcome.NO_CAUSE): "What did you look at?",
    str(Outcome.FALSE_ALARM): "Why is it a false alarm?",
}


def form() -> Component:
    """Return the form; it is filled for whichever matter is open."""
    choices = (
        (Outcome.CAUSE, "A cause"),
        (Outcome.NO_CAUSE, "No cause found"),
        (Outcome.FALSE_ALARM, "A false alarm"),
    )
    return html.Div(
        className="review-form",
        children=[
            dmc.RadioGroup(
                id=OUTCOME,
                label="What did you find?",
                children=dmc.Group([dmc.Radio(value=str(value), label=label) for value, label in choices]),
            ),
            dmc.Textarea(id=BECAUSE, label="Why?", autosize=True, minRows=2),
            html.Div(id=DOING, hidden=True, className="review-doing", children=_doing()),
            html.Div(
                id=ALSO_PLACE, hidden=True, children=dmc.CheckboxGroup(id=ALSO, label=_ALSO, children=[], value=[])
            ),
            html.Div(
                className="review-send",
                children=[
                    dmc.TextInput(
                        id=WHO, label="Your name", persistence=True, persistence_type="local", autoComplete="name"
                    ),
                    dmc.Button("Keep the answer", id=KEEP),
                ],
            ),
        ],
    )


def _doing() -> list[Component]:
    return [
        dmc.TextInput(id=ACTION, label="What is done about it? (may stay empty)"),
        dmc.TextInput(id=ACTION_BY, label="By whom?"),
        dmc.TextInput(id=UNTIL, label="Until when?", inputProps={"type": "date"}),
        dmc.TextInput(id=DONE_ON, label="… or done already, on", inputProps={"type": "date"}),
    ]


def shape(outcome: object) -> tuple[str, bool]:
    """Return the label of the reason, and whether the action's fields are hidden."""
    return _LABELS.get(str(outcome), "Why?"), outcome != str(Outcome.CAUSE)


@dataclass(frozen=True)
class Filled:
    """What stands in the form for a matter: the answer that stands, or nothing, and which others it may be for too."""

    outcome: str | None = None
    because: str = ""
    action: str = ""
    action_by: str = ""
    until: str = ""
    done_on: str = ""
    last_seen: int = 0
    also: tuple[tuple[str, str], ...] = ()


def filled(item: Item | None, finding: ReviewFinding) -> Filled:
    """Return what the form holds when a matter is opened."""
    if item is None:
        return Filled()
    others = (finding.item(code) for code in item.related)
    also = tuple(
        (other.code, f"{other.key.title}: {other.size}") for other in others if other is not None and not other.answers
    )
    answer = item.answer
    if answer is None:
        return Filled(also=also)
    return Filled(str(answer.outcome), answer.because, *_action_of(answer), last_seen=answer.number, also=also)


def _action_of(answer: Answer) -> tuple[str, str, str, str]:
    action, done = answer.action, answer.done
    if action is None:
        return "", "", "", ""
    until = "" if action.until is None else action.until.isoformat()
    return action.what, action.by, until, "" if done is None else done.on.isoformat()


@dataclass(frozen=True)
class Outcomes:
    """What came of a press on the button: faults by field, what is said, and the matter to open next, "" to stay."""

    said: Component | None
    faults: Mapping[str, str] = field(default_factory=dict)
    open_next: str = ""
    last_seen: int | None = None
    state: int | None = None


def keep(
    ledger: Ledger,
    finding: ReviewFinding,
    code: object,
    last_seen: object,
    draft: AnswerDraft,
    also: Sequence[object],
    today: date,
) -> Outcomes:
    """Keep an answer for a matter, and for those that were ticked besides."""
    item = finding.item(code)
    if item is None:
        return Outcomes(_caution("This matter is no longer here. Reload the page."))
    faults = draft.faults(today)
    if faults:
        return Outcomes(_caution(f"Not kept yet: {count(len(faults), 'thing')} to look at above."), faults)
    seen_number = last_seen if isinstance(last_seen, int) else 0
    try:
        kept = keep_answer(ledger, item.seen, draft, today, last_seen=seen_number, codes=item.codes)
        if kept.meanwhile:
            words = f"Meanwhile this was answered: {kept.answer.in_words} To put yours in its place, press again."
            return Outcomes(_caution(words), last_seen=kept.answer.number, state=ledger.state)
        more = _also(ledger, finding, item, draft, also, today)
    except LedgerError as error:
        return Outcomes(_caution(f"It was not kept. {error}"))
    return _kept(ledger, finding, item, more)


def _also(
    ledger: Ledger, finding: ReviewFinding, item: Item, draft: AnswerDraft, also: Sequence[object], today: date
) -> int:
    """Give the same answer to the matters that were ticked and that nobody has answered meanwhile."""
    others = [other for code in also if code in item.related and (other := finding.item(code)) is not None]
    kept = [keep_answer(ledger, o.seen, draft, today, last_seen=0, codes=o.codes) for o in others if not o.answers]
    return sum(not one.meanwhile for one in kept)


def _kept(ledger: Ledger, finding: ReviewFinding, item: Item, more: int) -> Outcomes:
    done = {item.code}
    following = next_open(finding, item.code)
    left = sum(one.answer is None and one.code not in done for one in finding.items) - more
    beside = f" and for {count(more, 'other matter')}" if more else ""
    words = f"Kept for {item.key.title}{beside}. "
    words += (
        f"{count(left, 'matter')} to go." if left > 0 else "Every matter here has an answer: the review can be closed."
    )
    open_next = "" if following is None or left <= 0 else following.code
    return Outcomes(html.P(words), open_next=open_next, state=ledger.state)


def _caution(words: str) -> Component:
    return html.P(words, className="caution")
