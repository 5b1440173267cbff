"""Which matters are in the review, how many of them are answered, and which were settled before?"""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from analysis.findings.review import ReviewFinding
from analysis.findings.review_items import Item, Standing
from analysis.findings.wording import count
from dashboard.parts.shell import icon
from dashboard.parts.tables import Cell, Column, data_table, short_day

__all__ = ["matter_list", "next_open", "past_reviews", "progress", "settled_part"]


_WORST = (
    "What goes the worse way in the finished pack comes first, then what does so before it, then what got better. "
    "Within each it counts how many runs stand so, and how far from the usual level: in the smallest difference that "
    "matters to you, as it stands among your targets, or in the working default."
)


def progress(finding: ReviewFinding) -> list[Component]:
    """Return how much of the review is answered, in words and as a bar."""
    total, answered = len(finding.items), finding.answered
    if not total:
        return []
    words = f"{answered} of {total} answered"
    parts: list[Component] = [
        html.Strong(words, className="review-count"),
        html.Progress(value=str(answered), max=str(total), **{"aria-label": words}),
    ]
    if finding.outside_open:
        beside = count(finding.outside_open, "matter without an answer lies", "matters without an answer lie")
        parts.append(html.Span(f"{beside} outside this selection.", className="soft"))
    return parts


def matter_list(finding: ReviewFinding, chosen: Item | None) -> Component | None:
    """Return the matters of the review, worst first, each a button that opens it; None where there is none."""
    if not finding.items:
        return None
    entries = html.Ol([html.Li(_entry(item, chosen)) for item in finding.items], className="review-matters")
    return html.Div([entries, html.Details([html.Summary("What is worst?"), html.P(_WORST)], className="more")])


def _entry(item: Item, chosen: Item | None) -> Component:
    answered = item.answer is not None
    here = chosen is not None and item.code == chosen.code
    state = "answered" if answered else "no answer yet"
    mark = icon("check") if answered else html.Span(className="review-open", **{"aria-hidden": "true"})
    return html.Button(
        [
            html.Span([mark, html.Span(state, className="sr-only")], className="review-state"),
            html.Span(
                [
                    html.Span(item.key.title, className="review-name"),
                    html.Span(f"{item.size}, {item.since}", className="review-size"),
                    *(
                        []
                        if item.standing is Standing.NEW
                        else [html.Span(_standing(item), className="review-standing")]
                    ),
                ],
                className="review-words",
            ),
        ],
        id={"type": "review-choose", "code": item.code},
        type="button",
        className="review-entry review-answered" if answered else "review-entry",
        **{"aria-current": "true" if here else "false"},
    )


def _standing(item: Item) -> str:
    if item.standing is Standing.GREW:
        return f"grew by {count(item.grew_by, 'run')} since it was last looked at"
    return str(item.standing)


def next_open(finding: ReviewFinding, after: str = "") -> Item | None:
    """Return the next matter without an answer, from the top again after the last; the first of all where all have."""
    items = finding.items
    place = next((n + 1 for n, item in enumerate(items) if after in item.codes), 0)
    around = [*items[place:], *items[:place]]
    return next((item for item in around if item.answer is None), around[0] if around else None)


def settled_part(items: Sequence[Item]) -> Component | None:
    """Return the matters that earlier reviews settled, each with its answer; one may be opened and answered anew."""
    if not items:
        return None
    columns = (Column("Matter", kind="prose"), Column("Size"), Column("Answer", kind="prose"), Column("Open"))
    rows: list[tuple[Cell, ...]] = [
        (item.key.title, f"{item.size}, {item.since}", item.answer.in_words if item.answer else "", _open(item))
        for item in items
    ]
    table = data_table("Answered in earlier reviews", columns, rows)
    return html.Details(
        [html.Summary(f"{count(len(items), 'matter')} answered in earlier reviews"), table], className="more"
    )


def _open(item: Item) -> Component:
    return html.Button(
        ["Look again", html.Span(f" at {item.key.title}", className="sr-only")],
        id={"type": "review-choose", "code": item.code},
        type="button",
        className="link-button",
    )


def past_reviews(finding: ReviewFinding) -> list[Component]:
    """Return the closed reviews, the latest first, each with a link to its record."""
    if not finding.reviews:
        return [html.P("No review has been closed yet.", className="soft")]
    columns = (
        Column("Review"), Column("Closed"), Column("There", kind="prose"), Column("Matters", kind="figures"),
        Column("Without an answer", kind="figures"), Column("Note", kind="prose"),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            dcc.Link(f"Review {closed.number}", href=f"/review/{closed.number}"),
            short_day(closed.at), ", ".join(closed.present), str(len(closed.items)), str(closed.unanswered),
            closed.note,
        )
        for closed in reversed(finding.reviews)
    ]  # fmt: skip
    return [data_table("Past reviews", columns, rows)]
