"""How does a figure sit on the page: its axes, its letters, its ground?"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dashboard.theme import SANS, Palette

__all__ = ["GRAPH_CONFIG", "axis", "layout", "packed_floats"]

GRAPH_CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "responsive": True,
    "scrollZoom": False,
    "doubleClick": "reset",
    "showTips": False,
}


def layout(colours: Palette, height: int, **further: Any) -> dict[str, Any]:
    """Return the layout that all figures share."""
    return {
        "height": height,
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


def packed_floats(values: ArrayLike) -> dict[str, str]:
    """Return numbers as the figure library reads them fastest: float32, packed."""
    return {"dtype": "f4", "bdata": base64.b64encode(np.asarray(values, dtype="<f4").tobytes()).decode("ascii")}
