"""How does a tank's forecast look?"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np

from analysis.findings.readiness import Readiness
from analysis.findings.wording import amount, day
from dashboard.figures.plotly_layout import axis, layout, log_ticks
from dashboard.theme import Palette

__all__ = ["readiness_figure"]

_BLUE, _VERMILLION, _GREEN = 0, 1, 2


def readiness_figure(told: Readiness, colours: Palette) -> dict[str, Any]:
    """Return the figure of a forecast: readings as discs, the expected haze, the interval of a reading, the target.

    The target's limits are long dashes; the day from which it is met stands as an upright line of dots.
    """
    at = [_ms(d.at) for d in told.days]
    low, high = [d.low for d in told.days], [d.high for d in told.days]
    band = {
        "type": "scatter", "mode": "lines", "name": "Interval of a reading", "x": at + at[::-1],
        "y": high + low[::-1], "fill": "toself", "fillcolor": colours.band, "line": {"width": 0}, "hoverinfo": "skip",
    }  # fmt: skip
    expected = {
        "type": "scatter", "mode": "lines", "name": "Expected", "x": at, "y": [d.expected for d in told.days],
        "line": {"color": colours.series[_BLUE], "width": 2},
        "text": [_hover(told, place) for place in range(len(at))], "hovertemplate": "%{text}<extra></extra>",
    }  # fmt: skip
    return {"data": [band, expected, *_read(told, colours)], "layout": _layout(told, colours)}


def _read(told: Readiness, colours: Palette) -> list[dict[str, Any]]:
    if not len(told.read):
        return []
    moments = [moment.to_pydatetime() for moment in told.read["measured_at"]]
    values = [float(value) for value in told.read["haze"]]
    return [
        {
            "type": "scatter", "mode": "markers", "name": "Read", "x": [_ms(m) for m in moments], "y": values,
            "marker": {"color": colours.ink, "size": 9, "symbol": "circle"},
            "text": [f"<b>{amount(v, 'EBC')}</b><br>read {day(m)}" for m, v in zip(moments, values, strict=True)],
            "hovertemplate": "%{text}<extra></extra>",
        }
    ]  # fmt: skip


def _hover(told: Readiness, place: int) -> str:
    one = told.days[place]
    chance = "" if one.chance != one.chance else f"<br>in target: {100 * one.chance:.0f} %"
    return f"<b>{amount(one.expected, 'EBC')}</b> ({amount(one.low)} to {amount(one.high)})<br>{day(one.at)}{chance}"


def _layout(told: Readiness, colours: Palette) -> dict[str, Any]:
    limits = [limit for limit in (told.lower, told.upper) if limit is not None]
    drawn = np.array(
        [*limits, *(d.low for d in told.days), *(d.high for d in told.days), *told.read["haze"]], dtype=float
    )
    ticks = log_ticks(float(drawn.min()) * 0.85, float(drawn.max()) * 1.15)
    across = {"type": "line", "xref": "paper", "yref": "y", "x0": 0, "x1": 1}
    shapes = [
        {**across, "y0": limit, "y1": limit, "line": {"color": colours.series[_GREEN], "width": 2, "dash": "12px,5px"}}
        for limit in limits
    ]
    if told.ready_on is not None:
        x = _ms(told.ready_on)
        line = {"color": colours.accent, "width": 2, "dash": "2px,3px"}
        shapes.append({"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1, "line": line})
    return layout(
        colours,
        xaxis=axis(colours, type="date", showgrid=False, tickformat="%-d %b\n%Y", nticks=8),
        yaxis=axis(
            colours, type="log", automargin=True, tickmode="array", tickvals=ticks,
            ticktext=[amount(tick, digits=2) for tick in ticks],
            title={"text": "Haze [EBC]", "font": {"color": colours.ink, "size": 14}, "standoff": 10},
        ),
        shapes=shapes,
        uirevision=told.batch,
    )  # fmt: skip


def _ms(moment: datetime) -> float:
    return float(np.datetime64(moment, "ms").astype(np.int64))
