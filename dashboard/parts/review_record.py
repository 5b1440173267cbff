"""What does the record of a closed review say, on the screen and on paper?"""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from analysis.findings.review_closings import ClosedAction, ClosedItem, ClosedReview
from analysis.findings.wording import count, day, listing
from dashboard.figures.review_figure import record_picture
from dashboard.parts.tables import empty

__all__ = ["PRINT", "no_record", "record"]

PRINT = "review-print"


def record(closed: ClosedReview) -> list[Component]:
    """Return a closed review as it was fixed."""
    return [
        html.P(dcc.Link("All reviews", href="/review"), className="back"),
        html.H1(f"Review {closed.number}, {day(closed.at)}", tabIndex=-1),
        html.P(_summary(closed), className="answer"),
        html.Button("Print this record", id=PRINT, type="button", className="quiet-button record-print"),
        html.Dl(_facts(closed), className="record-facts"),
        *_actions(closed.actions),
        *[_matter(item, place, len(closed.items)) for place, item in enumerate(closed.items, start=1)],
    ]


def no_record(number: str) -> list[Component]:
    """Return what stands where there is no such review."""
    return [
        html.H1("No such review", tabIndex=-1),
        html.Button(id=PRINT, hidden=True),
        empty(
            f"There is no review {number[:12]}",
            ["The reviews that were closed stand on the page ", dcc.Link("Review", href="/review"), "."],
        ),
    ]


def _summary(closed: ClosedReview) -> str:
    if not closed.items:
        return "Nothing had moved that was not answered before."
    open_ones = closed.unanswered
    left = "all answered" if not open_ones else f"{count(open_ones, 'one', 'of them')} without an answer"
    if open_ones == 1:
        left = "one of them without an answer"
    return f"{count(len(closed.items), 'matter')}, {left}."


def _facts(closed: ClosedReview) -> list[Component]:
    until = "none" if closed.until is None else day(closed.until)
    pairs = [
        ("There", listing(list(closed.present), most=40)),
        ("Closed", f"{day(closed.at)}, {closed.at:%H:%M}, by {closed.by}"),
        ("Runs up to", until),
        ("Ledger state", f"{closed.state:,}"),
        ("Note", closed.note or "none"),
    ]
    return [part for word, text in pairs for part in (html.Dt(word), html.Dd(text))]


def _actions(actions: Sequence[ClosedAction]) -> list[Component]:
    if not actions:
        return []
    same: dict[tuple[str, str], list[ClosedAction]] = {}
    for one in actions:
        same.setdefault((one.what, one.standing), []).append(one)
    lines = [
        html.Li([html.P([html.Strong(what), f", {standing}."]), *[html.P(_effect(one)) for one in together]])
        for (what, standing), together in same.items()
    ]
    return [html.H2("Actions as they stood"), html.Ul(lines, className="record-actions")]


def _effect(action: ClosedAction) -> str:
    return f"{action.title}. {action.effect}".strip()


def _matter(item: ClosedItem, place: int, total: int) -> Component:
    seen = item.seen
    chart = html.Img(src=record_picture(seen), alt=f"Chart: {seen.told}", className="record-picture")
    answer = item.answer or "No answer was given: it was carried over."
    return html.Section(
        className="record-matter",
        children=[
            html.H2(seen.title),
            html.P([html.Span(f"Matter {place} of {total}"), html.Span(item.standing)], className="review-where"),
            html.P(seen.told),
            *([chart] if seen.points else []),
            *[html.P(words, className="caution") for words in seen.meters],
            *[html.P(words) for words in seen.done],
            html.P([html.Strong("Answer. "), answer], className="review-answer"),
        ],
    )
