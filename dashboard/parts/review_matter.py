"""What is one matter of the review: its size, its chart, what was done differently, and what was answered so far?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from analysis.findings.filters import Filters
from analysis.findings.practice_words import spoken
from analysis.findings.review import ReviewFinding
from analysis.findings.review_answers import Answer
from analysis.findings.review_differences import Difference, Differences, NotExplaining
from analysis.findings.review_items import Item, Standing
from analysis.findings.review_matters import Matter
from analysis.findings.review_words import RUNS_BESIDE, limits_in_words
from analysis.findings.series_batches import pattern_says
from analysis.findings.wording import amount, change, count, percent, span
from dashboard.parts.addresses import query
from dashboard.parts.tables import Cell, Column, data_table, short_day

__all__ = ["answers_part", "caption", "differences_part", "head", "related_part", "runs_part"]

_MOST_RUNS = 30  # a browser takes seconds over some hundred rows with a link each
_LOOKS = {
    Standing.NEW: "new",
    Standing.CARRIED: "carried",
    Standing.GREW: "grew",
    Standing.AGAIN: "settled",
    Standing.SETTLED: "settled",
}


def head(item: Item, finding: ReviewFinding) -> list[Component]:
    """Return what is said first: where the matter stands in the review, what it is, and what to know beside it."""
    place = next((n for n, one in enumerate(finding.items, start=1) if one.code == item.code), None)
    where = f"Matter {place} of {len(finding.items)}" if place is not None else "Settled"
    parts: list[Component] = [
        html.P(
            [html.Span(where), html.Span(str(item.standing), className=f"review-tag review-{_LOOKS[item.standing]}")],
            className="review-where",
        ),
        html.P(item.seen.told, className="review-told"),
    ]
    if item.grew_by and item.answer is not None:
        words = f"It has grown by {count(item.grew_by, 'run')} since it was last looked at."
        parts.append(html.P(words, className="caution"))
    if item.matter is None:
        words = (
            "It is on no chart any more: its records were taken back or corrected, or the limits changed. It stays "
            "here until somebody answers it."
        )
        parts.append(html.P(words, className="caution"))
    return [*parts, *_meters(item), *_coincides(item.matter)]


def _meters(item: Item) -> list[Component]:
    return [html.P([words, " ", dcc.Link("Meters", href="/meters")], className="caution") for words in item.meters]


def _coincides(matter: Matter | None) -> list[Component]:
    move = None if matter is None else matter.stretch.move
    if move is None:
        return []
    if not move.coincides_with:
        return [html.P("Nothing on record changed at about that time.", className="soft")]
    beside = "; ".join(move.coincides_with)
    return [html.P(f"It coincides with: {beside}. That is no proof of a cause.")]


def caption(matter: Matter) -> list[Component | str]:
    """Return what stands under the chart."""
    key = matter.key
    name = "line" if key.recipe is None else "recipe"
    chart = query(Filters(recipes=() if key.recipe is None else (key.recipe,)), measure=key.measure, stage=key.stage)
    return [
        f"{limits_in_words(matter)} The matter’s runs stand on the wash, up to {RUNS_BESIDE} others on either side. ",
        dcc.Link(f"The whole chart of this {name}", href=f"/charts{chart}"),
    ]


def runs_part(matter: Matter) -> Component:
    """Return the matter's runs as a table."""
    columns = (
        Column("Packed"), Column("Run"), Column("Batch"), Column("Value", kind="figures"), Column("Meter"),
        Column("Signals", kind="prose"),
    )  # fmt: skip
    last, runs = matter.stretch.last, len(matter.runs)
    first = max(matter.stretch.first, last + 1 - _MOST_RUNS)
    own = matter.chart.iloc[first : last + 1]
    rows: list[tuple[Cell, ...]] = []
    points, of_batches = matter.series.points[first : last + 1], matter.series.several_runs is not None
    for point, value, meter in zip(points, own["value"], own["meter"], strict=True):
        run: Cell = dcc.Link(point.run, href=f"/packs{query(Filters(), run=point.run)}") if point.run else ""
        signals = ", ".join(pattern_says(code, of_batches) for code in point.signals)
        read = amount(float(value), matter.measure.unit)
        rows.append((short_day(point.at), run, point.batch, read, str(meter or ""), signals))
    table = data_table(f"Runs of {matter.key.title}", columns, rows)
    summary = html.Summary(f"{count(runs, 'run')} as a table")
    left = runs - len(rows)
    earlier = count(left, "earlier run is", "earlier runs are")
    beside = [html.P(f"{earlier} on the whole chart.", className="soft")] if left else []
    return html.Details([summary, table, *beside], className="more")


def differences_part(told: Differences | None) -> list[Component]:
    """Return what was done differently, with each practice's share of the move, and what is left."""
    if told is None:
        return []
    heading = html.H3("What was done differently")
    if told.why_not:
        return [heading, html.P(f"It cannot be weighed: {told.why_not}."), *_seen_differently(told.not_assessed)]
    parts: list[Component] = [heading, html.P(_summary(told)), _shares(told)]
    parts += [html.P(words, className="soft") for words in told.cautions]
    return [*parts, *_unassessed(told.not_assessed)]


def _summary(told: Differences) -> str:
    sure = sum(line.share for line in told.lines if not line.uncertain)
    unsure = sum(line.share for line in told.lines if line.uncertain)
    return (
        f"Of {change(told.move, told.unit)}, practices whose share is certain explain {change(sure, told.unit)}, those "
        f"whose share is not certain {change(unsure, told.unit)}; {change(told.unexplained, told.unit)} is left "
        "unexplained."
    )


def _shares(told: Differences) -> Component:
    columns = (
        Column("Practice"), Column("Share of the move", told.unit, kind="figures"), Column("In these runs"),
        Column("Usually"), Column("Certain?", kind="prose"), Column("95 % interval", told.unit, kind="figures"),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [_share_row(line) for line in told.telling]
    small = sum(line.share for line in told.lines if line not in told.telling)
    others = len(told.lines) - len(told.telling)
    if others:
        rows.append((f"{count(others, 'other')} with hardly a share", change(small), "", "", "", ""))
    of_move = f"{percent(100 * told.unexplained / told.move)} of the move" if told.move else ""
    left = html.Strong(change(told.unexplained))
    rows.append((html.Strong("Left unexplained"), left, "", "", of_move, ""))
    rows.append((html.Strong("The whole move"), html.Strong(change(told.move)), "", "", "", ""))
    return data_table("Shares of the move", columns, rows, class_name="shares")


def _share_row(line: Difference) -> tuple[Cell, ...]:
    interval = span(line.low, line.high) if math.isfinite(line.low) else ""
    certain = "yes" if not line.uncertain else f"not certain: {line.uncertain}"
    return line.label, change(line.share), line.here, line.usually, certain, interval


def _seen_differently(rest: Sequence[NotExplaining]) -> list[Component]:
    if not rest:
        return []
    words = "; ".join(f"{spoken(one.label)} {one.here} instead of {one.usually}" for one in rest)
    return [html.P(f"Plainly different from usual: {words}.")]


def _unassessed(rest: Sequence[NotExplaining]) -> list[Component]:
    if not rest:
        return []
    columns = (
        Column("Practice"),
        Column("In these runs"),
        Column("Usually"),
        Column("Why it has no share", kind="prose"),
    )
    rows = [(one.label, one.here, one.usually, one.reason) for one in rest]
    table = data_table("Practices that the model could not assess", columns, rows)
    summary = html.Summary(f"{count(len(rest), 'practice')} that the model could not assess")
    return [html.Details([summary, table], className="more")]


def related_part(item: Item, finding: ReviewFinding) -> list[Component]:
    """Return the other matters that share runs with this one, each a button that opens it."""
    others = [other for code in item.related if (other := finding.item(code)) is not None]
    if not others:
        return []
    buttons = [
        html.Li(
            html.Button(
                f"{other.key.title}: {other.size}",
                id={"type": "review-choose", "code": other.code},
                type="button",
                className="link-button",
            )
        )
        for other in others
    ]
    summary = html.Summary(f"{count(len(others), 'other matter was', 'other matters were')} seen in the same runs")
    return [html.Details([summary, html.Ul(buttons, className="review-related")], className="more")]


def answers_part(answers: Sequence[Answer]) -> list[Component]:
    """Return the answer that stands, and those before it."""
    if not answers:
        return []
    parts: list[Component] = [
        html.H3("The answer that stands"),
        html.P(answers[-1].in_words, className="review-answer"),
    ]
    if len(answers) > 1:
        earlier = html.Ol([html.Li(answer.in_words) for answer in answers[:-1]])
        summary = html.Summary(f"{count(len(answers) - 1, 'earlier answer')}")
        parts.append(html.Details([summary, earlier], className="more"))
    return parts
