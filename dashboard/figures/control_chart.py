"""How does a control chart look when it stands large?"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.findings.wording import amount
from dashboard.figures.chart_drawing import MOST_MARKED, BaselineDrawing, ChartDrawing, ShiftDrawing, kept_points
from dashboard.figures.plotly_layout import axis, layout, log_ticks, packed_floats
from dashboard.theme import Palette

__all__ = ["control_chart"]

_BLUE, _VERMILLION, _, _PURPLE = range(4)


def control_chart(drawing: ChartDrawing, colours: Palette) -> dict[str, Any]:
    """Return the figure of a series: its points, centre and limits, signals by shape and colour, moves as bands.

    An ordinary point is a small disc, one beyond a limit a large diamond, one that completes a pattern a square. Past
    2,000 points the discs give way to the line; a signal is always marked. A strip along the foot shows the runs that
    limits come from, an upright line where a new phase begins.
    """
    kept = kept_points(drawing)
    at = drawing.milliseconds[kept]
    traces = [
        _behind(drawing, at, kept, colours),
        _limit(drawing, at, drawing.upper[kept], "Upper limit", colours, dash="5px,4px"),
        _limit(drawing, at, drawing.lower[kept], "Lower limit", colours, dash="5px,4px"),
        _limit(drawing, at, drawing.centre[kept], "Centre", colours, dash="solid"),
        _points(drawing, at, kept, colours),
        _signals(drawing, drawing.in_pattern, "Run of points on one side", "square-open", 12, colours.series[_PURPLE]),
        _signals(drawing, drawing.beyond, "Beyond a limit", "diamond", 13, colours.series[_VERMILLION]),
    ]
    return {"data": [trace for trace in traces if trace is not None], "layout": _layout(drawing, colours)}


def _layout(drawing: ChartDrawing, colours: Palette) -> dict[str, Any]:
    title = f"{drawing.label} [{drawing.unit}]" if drawing.unit else drawing.label
    vertical = axis(colours, type="log" if drawing.log else "linear", automargin=True)
    if drawing.log:
        vertical |= _log_labels(drawing)
    return layout(
        colours,
        xaxis=axis(colours, type="date", showgrid=False, tickformat="%-d %b\n%Y", nticks=8),
        yaxis={**vertical, "title": {"text": title, "font": {"color": colours.ink, "size": 14}, "standoff": 10}},
        shapes=[
            *(shape for shift in drawing.shifts for shape in _shift_shapes(shift, colours)),
            *(shape for phase in drawing.baselines for shape in _baseline_shapes(phase, colours)),
        ],
        **({"dragmode": "select", "selectdirection": "h"} if drawing.may_freeze else {}),
        uirevision=drawing.title,
    )


def _log_labels(drawing: ChartDrawing) -> dict[str, Any]:
    drawn = np.concatenate([drawing.values, drawing.lower, drawing.upper])
    known = drawn[np.isfinite(drawn) & (drawn > 0)]
    ticks = log_ticks(float(known.min()) * 0.85, float(known.max()) * 1.15) if known.size else []
    return {"tickmode": "array", "tickvals": ticks, "ticktext": [amount(tick, digits=2) for tick in ticks]}


def _shift_shapes(shift: ShiftDrawing, colours: Palette) -> list[dict[str, Any]]:
    spread = {"type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    return [
        {**spread, "x0": _ms(shift.earliest), "x1": _ms(shift.latest), "fillcolor": colours.band, "line": {"width": 0}},
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": _ms(shift.at),
            "x1": _ms(shift.at),
            "y0": 0,
            "y1": 1,
            "line": {"color": colours.accent, "width": 1.5, "dash": "2px,3px"},
        },
    ]


def _baseline_shapes(phase: BaselineDrawing, colours: Palette) -> list[dict[str, Any]]:
    upright = {"type": "line", "xref": "x", "yref": "paper", "layer": "below"}
    shapes: list[dict[str, Any]] = []
    if phase.since is not None and phase.until is not None:
        ends = {"x0": _ms(phase.since), "x1": _ms(phase.until), "y0": 0, "y1": 0.018}
        shapes.append({**upright, "type": "rect", **ends, "fillcolor": colours.limit, "line": {"width": 0}})
    if not phase.first:
        place = {"x0": _ms(phase.begins), "x1": _ms(phase.begins), "y0": 0, "y1": 1}
        shapes.append({**upright, **place, "line": {"color": colours.limit, "width": 1}})
    return shapes


def _behind(
    drawing: ChartDrawing, at: npt.NDArray[np.float64], kept: npt.NDArray[np.int64], colours: Palette
) -> dict[str, Any] | None:
    if drawing.behind is None:
        return None
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "Runs",
        "x": at.tolist(),
        "y": packed_floats(drawing.behind[kept]),
        "marker": {"color": colours.soft, "size": 4, "opacity": 0.5},
        "customdata": [drawing.runs[place] for place in kept],
        "hoverinfo": "skip",
    }


def _ms(moment: datetime) -> float:
    return float(np.datetime64(moment, "ms").astype(np.int64))


def _limit(
    drawing: ChartDrawing,
    at: npt.NDArray[np.float64],
    values: npt.NDArray[np.float64],
    name: str,
    colours: Palette,
    dash: str,
) -> dict[str, Any] | None:
    if np.isnan(values).all():
        return None
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": at.tolist(),
        "y": packed_floats(values),
        "line": {"color": colours.limit, "width": 1.25, "dash": dash, "shape": "hv"},
        "hovertemplate": f"{name} %{{y:.3~g}} {drawing.unit}<extra></extra>",
    }


def _points(
    drawing: ChartDrawing, at: npt.NDArray[np.float64], kept: npt.NDArray[np.int64], colours: Palette
) -> dict[str, Any]:
    ordinary = kept if len(drawing.values) <= MOST_MARKED else np.empty(0, dtype=np.int64)
    return {
        "type": "scatter",
        "mode": "lines+markers" if len(ordinary) else "lines",
        "name": drawing.title,
        "x": at.tolist(),
        "y": packed_floats(drawing.values[kept]),
        "line": {"color": colours.series[_BLUE], "width": 1},
        "marker": {"color": colours.series[_BLUE], "size": 6, "symbol": "circle"},
        "customdata": [drawing.runs[place] for place in kept],
        "text": [drawing.hover[place] for place in kept],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _signals(
    drawing: ChartDrawing, which: npt.NDArray[np.bool_], name: str, symbol: str, size: int, colour: str
) -> dict[str, Any] | None:
    places = np.flatnonzero(which)
    if not len(places):
        return None
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": drawing.milliseconds[places].tolist(),
        "y": packed_floats(drawing.values[places]),
        "marker": {"color": colour, "size": size, "symbol": symbol, "line": {"color": colour, "width": 2}},
        "customdata": [drawing.runs[place] for place in places],
        "text": [drawing.hover[place] for place in places],
        "hovertemplate": "%{text}<extra></extra>",
    }
