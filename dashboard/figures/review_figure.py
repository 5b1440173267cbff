"""How does one matter of the review look: on the page, and as a picture on a printed record?"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from datetime import datetime
from html import escape
from typing import Any

import numpy as np

from analysis.findings.review_matters import Matter
from analysis.findings.review_seen import SeenMatter, SeenPoint
from analysis.findings.review_words import cut_series
from analysis.findings.wording import amount
from dashboard.figures.chart_drawing import drawing_of
from dashboard.figures.control_chart import control_chart
from dashboard.figures.plotly_layout import log_ticks
from dashboard.theme import PALETTES, Palette

__all__ = ["matter_chart", "record_picture"]

WIDTH, HEIGHT = 760, 250
LEFT, RIGHT, TOP, BOTTOM = 62, 12, 12, 34
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def matter_chart(matter: Matter, colours: Palette) -> dict[str, Any]:
    """Return the figure of a matter: its chart cut to the runs around it, its own runs on a wash."""
    series = cut_series(matter)
    figure = control_chart(drawing_of(series, matter.measure), colours)
    points = matter.series.points
    first, last = points[matter.stretch.first].at, points[matter.stretch.last].at
    ends = [float(np.datetime64(moment.to_pydatetime(), "ms").astype(np.int64)) for moment in (first, last)]
    wash = {
        "type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below",
        "x0": ends[0] - _HALF_A_DAY, "x1": ends[1] + _HALF_A_DAY, "fillcolor": colours.band, "line": {"width": 0},
    }  # fmt: skip
    shapes = [shape for shape in figure["layout"].get("shapes", ()) if shape["type"] == "line"]
    drawn = {**figure["layout"], "shapes": [wash, *shapes]}
    if series.recipe is None:
        axis = drawn["yaxis"]
        drawn["yaxis"] = {**axis, "title": {**axis["title"], "text": "sigmas from each recipe’s centre"}}
    return {**figure, "layout": drawn}


_HALF_A_DAY = 43_200_000.0


def record_picture(seen: SeenMatter) -> str:
    """Return a matter's chart as the address of a picture for paper: dark on white, whatever the screen's colours."""
    colours = PALETTES["light"]
    points = seen.points
    lines = _values(seen, [[p.value, p.centre, p.lower, p.upper] for p in points])
    known = lines[np.isfinite(lines)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    pad = 0.06 * (high - low) or 0.5
    up = TOP + (high + pad - lines) / (high - low + 2 * pad) * (HEIGHT - TOP - BOTTOM)
    x = _across(points)
    parts = [
        _wash(points, x, colours),
        *_value_axis(seen, low - pad, high + pad, colours),
        *_dates(points, x, colours),
        _line(x, up[:, 3], colours.limit, "stroke-dasharray='5 4'"),
        _line(x, up[:, 2], colours.limit, "stroke-dasharray='5 4'"),
        _line(x, up[:, 1], colours.limit, ""),
        _line(x, up[:, 0], colours.series[0], "stroke-width='1.2'"),
        *(_mark(x[n], up[n, 0], point, colours) for n, point in enumerate(points) if math.isfinite(up[n, 0])),
    ]
    picture = (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} {HEIGHT}' font-family='sans-serif' "
        f"font-size='13'><rect width='{WIDTH}' height='{HEIGHT}' fill='#ffffff'/>{''.join(parts)}</svg>"
    )
    return f"data:image/svg+xml;base64,{base64.b64encode(picture.encode()).decode('ascii')}"


def _values(seen: SeenMatter, rows: list[list[float]]) -> np.ndarray:
    lines = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return np.log(np.where(lines > 0, lines, np.nan)) if seen.log else lines


def _across(points: Sequence[SeenPoint]) -> np.ndarray:
    moments = np.array([point.at for point in points], dtype="datetime64[s]").astype(np.float64)
    room = WIDTH - LEFT - RIGHT
    if not moments.size or moments.max() == moments.min():
        return np.full(moments.size, LEFT + room / 2)
    return LEFT + 8 + (moments - moments.min()) / (moments.max() - moments.min()) * (room - 16)


def _wash(points: Sequence[SeenPoint], x: np.ndarray, colours: Palette) -> str:
    own = [x[n] for n, point in enumerate(points) if point.within]
    if not own:
        return ""
    return (
        f"<rect x='{own[0] - 6:.1f}' y='{TOP}' width='{own[-1] - own[0] + 12:.1f}' height='{HEIGHT - TOP - BOTTOM}' "
        f"fill='{colours.accent}' fill-opacity='0.1'/>"
    )


def _value_axis(seen: SeenMatter, low: float, high: float, colours: Palette) -> list[str]:
    if seen.log:
        ticks = [(math.log(tick), tick) for tick in log_ticks(math.exp(low), math.exp(high))]
    else:
        ticks = [(tick, tick) for tick in _round_ticks(low, high)]
    parts = []
    for place, value in ticks:
        y = TOP + (high - place) / (high - low) * (HEIGHT - TOP - BOTTOM)
        parts.append(f"<path d='M{LEFT} {y:.1f}H{WIDTH - RIGHT}' stroke='{colours.line}'/>")
        words = escape(amount(value, digits=2))
        parts.append(f"<text x='{LEFT - 6}' y='{y + 4:.1f}' text-anchor='end' fill='{colours.soft}'>{words}</text>")
    unit = escape(seen.chart_unit)
    return [*parts, f"<text x='2' y='{TOP + 10}' fill='{colours.soft}'>{unit}</text>"]


def _round_ticks(low: float, high: float) -> list[float]:
    """Return a handful of round values between two."""
    rough = (high - low) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((factor * power for factor in (1, 2, 5) if factor * power >= rough), 10 * power)
    first = math.ceil(low / step)
    return [step * n for n in range(first, math.floor(high / step) + 1)]


def _dates(points: Sequence[SeenPoint], x: np.ndarray, colours: Palette) -> list[str]:
    if not points:
        return []
    places = sorted({0, len(points) // 3, 2 * len(points) // 3, len(points) - 1})
    ends = {0: "start", len(points) - 1: "end"}
    return [
        f"<text x='{x[n]:.1f}' y='{HEIGHT - 10}' text-anchor='{ends.get(n, 'middle')}' fill='{colours.soft}'>"
        f"{_short(points[n].at)}</text>"
        for n in places
    ]


def _short(moment: datetime) -> str:
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def _line(x: np.ndarray, y: np.ndarray, colour: str, further: str) -> str:
    known = np.isfinite(y)
    if not known.any():
        return ""
    told = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[known], y[known], strict=True))
    return f"<polyline points='{told}' fill='none' stroke='{colour}' {further}/>"


def _mark(x: float, y: float, point: SeenPoint, colours: Palette) -> str:
    if point.signal:
        return f"<path d='M{x:.1f} {y - 6:.1f}l6 6-6 6-6-6z' fill='{colours.series[1]}'/>"
    return f"<circle cx='{x:.1f}' cy='{y:.1f}' r='{3.2 if point.within else 2.4}' fill='{colours.series[0]}'/>"
