"""How does a control chart look when it stands small among others?"""

from __future__ import annotations

import base64

import numpy as np
import numpy.typing as npt

from dashboard.figures.chart_drawing import ChartDrawing, kept_points
from dashboard.theme import Palette

__all__ = ["small_chart"]

WIDTH, HEIGHT = 260, 84
_PAD = 7
_MOST = 400


def small_chart(drawing: ChartDrawing, colours: Palette) -> str:
    """Return a series as the address of a small picture: its line, centre, limits, and signals by shape and colour."""
    values = np.log(drawing.values) if drawing.log else drawing.values
    lines = [np.log(line) if drawing.log else line for line in (drawing.centre, drawing.lower, drawing.upper)]
    low, high = _range([values, *lines])
    kept = kept_points(drawing, _MOST)
    across, up = _across(drawing.milliseconds), [_up(line, low, high) for line in (values, *lines)]
    parts = [
        _path(across[kept], up[2][kept], colours.limit, "stroke-dasharray='3 3'"),
        _path(across[kept], up[3][kept], colours.limit, "stroke-dasharray='3 3'"),
        _path(across[kept], up[1][kept], colours.limit, ""),
        _path(across[kept], up[0][kept], colours.series[0], "stroke-width='1.4'"),
        *(_square(across[i], up[0][i], colours.series[3]) for i in np.flatnonzero(drawing.in_pattern)),
        *(_diamond(across[i], up[0][i], colours.series[1]) for i in np.flatnonzero(drawing.beyond)),
    ]
    picture = (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} {HEIGHT}' preserveAspectRatio='none'>"
        f"{''.join(parts)}</svg>"
    )
    return f"data:image/svg+xml;base64,{base64.b64encode(picture.encode()).decode('ascii')}"


def _range(lines: list[npt.NDArray[np.float64]]) -> tuple[float, float]:
    known = np.concatenate(lines)
    known = known[np.isfinite(known)]
    if not known.size:
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    return (low, high) if high > low else (low - 1, high + 1)


def _across(moments: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    if not moments.size or moments.max() == moments.min():
        return np.full(moments.size, WIDTH / 2)
    return _PAD + (moments - moments.min()) / (moments.max() - moments.min()) * (WIDTH - 2 * _PAD)


def _up(values: npt.NDArray[np.float64], low: float, high: float) -> npt.NDArray[np.float64]:
    return HEIGHT - _PAD - (values - low) / (high - low) * (HEIGHT - 2 * _PAD)


def _path(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], colour: str, further: str) -> str:
    known = np.isfinite(y)
    if not known.any():
        return ""
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[known], y[known], strict=True))
    return f"<polyline points='{points}' fill='none' stroke='{colour}' {further}/>"


def _diamond(x: float, y: float, colour: str) -> str:
    return f"<path d='M{x:.1f} {y - 5:.1f}l5 5-5 5-5-5z' fill='{colour}'/>"


def _square(x: float, y: float, colour: str) -> str:
    corner = f"x='{x - 3.5:.1f}' y='{y - 3.5:.1f}' width='7' height='7'"
    return f"<rect {corner} fill='none' stroke='{colour}' stroke-width='2'/>"
