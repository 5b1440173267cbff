"""How does a figure sit on the page: its axes, its letters, its ground?"""

from __future__ import annotations

import base64
import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dashboard.theme import SANS, Palette

__all__ = ["GRAPH_CONFIG", "axis", "layout", "log_ticks", "packed_floats"]

_FEWEST_TICKS = 4

GRAPH_CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "responsive": True,
    "scrollZoom": False,
    "doubleClick": "reset",
    "showTips": False,
}


def layout(colours: Palette, **further: Any) -> dict[str, Any]:
    """Return the layout that all figures share; a figure is as large as its place on the page."""
    return {
        "autosize": True,
        "margin": {"l": 56, "r": 16, "t": 14, "b": 40},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": SANS, "size": 14, "color": colours.soft},
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": colours.ground,
            "bordercolor": colours.limit,
            "font": {"family": SANS, "size": 14, "color": colours.ink},
            "align": "left",
        },
        "showlegend": False,
        "dragmode": "zoom",
        **further,
    }


def axis(colours: Palette, **further: Any) -> dict[str, Any]:
    """Return an axis: a hairline grid, no heavy frame."""
    return {
        "gridcolor": colours.line,
        "linecolor": colours.limit,
        "zeroline": False,
        "ticks": "",
        "fixedrange": False,
        "tickfont": {"color": colours.soft},
        **further,
    }


def log_ticks(low: float, high: float) -> list[float]:
    """Return round values between two positive ones for a logarithmic axis: a handful, not a grid of all digits."""
    if not (0 < low <= high):
        return []
    powers = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
    for steps in ((1,), (1, 3), (1, 2, 5), (1, 1.5, 2, 3, 5, 7)):
        ticks = [step * 10.0**power for power in powers for step in steps]
        inside = [tick for tick in ticks if low <= tick <= high]
        if len(inside) >= _FEWEST_TICKS:
            break
    return inside


def packed_floats(values: ArrayLike) -> dict[str, str]:
    """Return numbers as the figure library reads them fastest: float32, packed."""
    return {"dtype": "f4", "bdata": base64.b64encode(np.asarray(values, dtype="<f4").tobytes()).decode("ascii")}
