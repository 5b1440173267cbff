"""Where does an effect's interval stand against the margin?"""

from __future__ import annotations

from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

__all__ = ["IntervalScale", "interval", "interval_axis"]

_MARGINS_SHOWN = 4.0


@dataclass(frozen=True)
class IntervalScale:
    """The scale that all intervals of a page share: from ``-reach`` to ``reach``, the margin at ±``margin``."""

    reach: float
    margin: float | None

    @classmethod
    def over(cls, ends: list[float], margin: float | None) -> IntervalScale:
        """Return a scale that shows all ends, but no more than four margins to a side."""
        furthest = max((abs(end) for end in ends), default=1.0) * 1.06 or 1.0
        if margin is None:
            return cls(furthest, None)
        return cls(min(max(furthest, 1.5 * margin), _MARGINS_SHOWN * margin), margin)

    def place(self, value: float) -> float:
        """Return where a value stands [% of the width], held inside."""
        return 50 + 50 * max(-1.0, min(1.0, value / self.reach))

    def is_beyond(self, value: float) -> bool:
        """Return whether a value lies past the end of the scale."""
        return abs(value) > self.reach


def interval(
    scale: IntervalScale, low: float, inner_low: float, value: float, inner_high: float, high: float, name: str
) -> Component:
    """Return one interval as a drawing: the margin as a band, zero as a line, the 95 % and 90 % intervals, the effect.

    ``name`` is the verdict's look. The drawing repeats what the sentence beside it says and is hidden from readers.
    """
    ends = [" interval-cut-low" if scale.is_beyond(low) else "", " interval-cut-high" if scale.is_beyond(high) else ""]
    return html.Div(
        className=f"interval interval-{name}",
        **{"aria-hidden": "true"},
        children=[
            *_ground(scale),
            html.Span(className=f"interval-outer{''.join(ends)}", style=_between(scale, low, high)),
            html.Span(className="interval-inner", style=_between(scale, inner_low, inner_high)),
            html.Span(className="interval-point", style={"left": f"{scale.place(value):.2f}%"}),
        ],
    )


def interval_axis(lower: str, upper: str, scale: IntervalScale, margin: str) -> Component:
    """Return the head of the drawings: which way is which, and the margin's size."""
    ends = [
        html.Span(f"−{margin}", style={"left": f"{scale.place(-(scale.margin or 0)):.2f}%"}),
        html.Span(f"+{margin}", style={"left": f"{scale.place(scale.margin or 0):.2f}%"}),
    ]
    return html.Div(
        className="interval-axis",
        **{"aria-hidden": "true"},
        children=[
            html.Div([html.Span(lower), html.Span(upper)], className="interval-ways"),
            html.Div(ends if scale.margin is not None else [], className="interval-ends"),
        ],
    )


def _ground(scale: IntervalScale) -> list[Component]:
    zero = html.Span(className="interval-zero")
    if scale.margin is None:
        return [zero]
    return [html.Span(className="interval-margin", style=_between(scale, -scale.margin, scale.margin)), zero]


def _between(scale: IntervalScale, low: float, high: float) -> dict[str, str]:
    left = scale.place(low)
    return {"left": f"{left:.2f}%", "width": f"{max(scale.place(high) - left, 0.4):.2f}%"}
