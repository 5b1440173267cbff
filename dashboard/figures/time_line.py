"""Where do a pack run's events stand in time?"""

from __future__ import annotations

from datetime import datetime, timedelta

from dash import html
from dash.development.base_component import Component

from analysis.findings.wording import day
from dashboard.parts.history import Event, Lane, RunHistory

__all__ = ["time_line"]

_LANES: tuple[tuple[Lane, str], ...] = (
    ("brew", "Brew"),
    ("cellar", "Cellar work"),
    ("reading", "Readings"),
    ("packaging", "Packaging"),
    ("tasting", "Tastings"),
)
# The weeks in the cellar matter more than the months on the shelf: each part has a scale of its own.
_CELLAR_SHARE = 64.0
_MARGIN = 2.0
_SHORT_AFTER = timedelta(days=3)


def time_line(history: RunHistory) -> Component:
    """Return the events of a run as marks on five lanes, the time before packing wider than the time after.

    The marks repeat what the list beside them says, so that a screen reader is given one sentence only.
    """
    lanes = [(lane, label) for lane, label in _LANES if any(event.lane == lane for event in history.events)]
    return html.Div(
        className="line",
        role="img",
        **{"aria-label": f"Time line of run {history.run}: {len(history.events)} events, listed below."},
        children=[
            html.Div(className="line-scale", children=_scale(history)),
            *[html.Div(className="line-lane", children=_lane(history, lane, label)) for lane, label in lanes],
        ],
    )


def _lane(history: RunHistory, lane: Lane, label: str) -> list[Component]:
    marks = [_mark(history, event) for event in history.events if event.lane == lane]
    return [html.Span(label, className="line-label"), html.Div(marks, className="line-track")]


def _mark(history: RunHistory, event: Event) -> Component:
    told = " ".join(part for part in (event.what, event.detail) if part)
    return html.Span(
        className=f"line-mark line-{event.lane}",
        style={"left": f"{_place(history, event.at):.2f}%"},
        title=f"{day(event.at)}: {told}",
    )


def _place(history: RunHistory, at: datetime) -> float:
    """Return where a moment stands [% of the width]."""
    first, last = history.events[0].at, history.events[-1].at
    packed = history.packed_at or last
    if last - packed <= _SHORT_AFTER:
        last = packed = max(last, packed)
    if last <= packed:
        return _MARGIN + _share(at, first, packed) * (100 - 2 * _MARGIN)
    if at <= packed:
        return _MARGIN + _share(at, first, packed) * (_CELLAR_SHARE - _MARGIN)
    return _CELLAR_SHARE + _share(at, packed, last) * (100 - _MARGIN - _CELLAR_SHARE)


def _share(at: datetime, first: datetime, last: datetime) -> float:
    whole = (last - first) / timedelta(seconds=1)
    return (at - first) / timedelta(seconds=1) / whole if whole > 0 else 0.0


def _scale(history: RunHistory) -> list[Component]:
    moments = [history.events[0].at, history.packed_at, history.events[-1].at]
    by_day = {moment.date(): moment for moment in moments if moment is not None}
    known = sorted(by_day.values())
    return [
        html.Span(
            day(moment),
            className=f"line-date{' line-date-last' if place == len(known) - 1 and place else ''}",
            style={"left": f"{_place(history, moment):.2f}%"},
        )
        for place, moment in enumerate(known)
    ]
