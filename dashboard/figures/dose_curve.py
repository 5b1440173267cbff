"""How does an effect bend with the dose?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

__all__ = ["Dot", "dose_curve"]

_PAD = 6.0


@dataclass(frozen=True)
class Dot:
    """The effect at a dose and its interval, in one unit; ``label`` is the dose as it is written."""

    at: float
    label: str
    low: float
    value: float
    high: float


def dose_curve(dots: Sequence[Dot], name: str) -> Component:
    """Return a curve as a drawing: each dose's interval upright, zero as a line. The table beside it says the same."""
    ends = [end for dot in dots for end in (dot.low, dot.high, 0.0)]
    low, high = min(ends), max(ends)
    first, last = dots[0].at, dots[-1].at

    def up(value: float) -> float:
        return _PAD + (100 - 2 * _PAD) * (value - low) / ((high - low) or 1.0)

    def across(at: float) -> float:
        return _PAD + (100 - 2 * _PAD) * (at - first) / ((last - first) or 1.0)

    marks = [html.Span(className="dose-zero", style={"bottom": f"{up(0.0):.2f}%"})]
    for dot in dots:
        left = f"{across(dot.at):.2f}%"
        tall = {"left": left, "bottom": f"{up(dot.low):.2f}%", "height": f"{up(dot.high) - up(dot.low):.2f}%"}
        marks += [
            html.Span(className="dose-interval", style=tall),
            html.Span(className="dose-point", style={"left": left, "bottom": f"{up(dot.value):.2f}%"}),
        ]
    labels = [html.Span(dot.label, style={"left": f"{across(dot.at):.2f}%"}) for dot in dots]
    return html.Div(
        [html.Div(marks, className="dose-plane"), html.Div(labels, className="dose-doses")],
        className=f"dose interval-{name}",
        **{"aria-hidden": "true"},
    )
