"""How does the oxygen climb, step by step, to the closed pack?"""

from __future__ import annotations

from typing import Any

from analysis.findings.pickup_result import UNIT, PickupFinding, Step
from analysis.findings.wording import change, count, span
from dashboard.figures.plotly_layout import axis, layout
from dashboard.theme import Palette

__all__ = ["step_figure"]

_BLUE, _VERMILLION = 0, 1
_SHORT = {"rouse": "rouse", "racking": "to bright tank", "to_filler": "to filler", "closing": "closing"}


def step_figure(finding: PickupFinding, colours: Palette) -> dict[str, Any]:
    """Return the figure of the rises: each step a block that begins where the one before ended.

    A rise is a filled block, a fall an open one; the bracket at its end is the 95 % interval of the mean. The first
    block is what the beer had in the fermenter. Each step is the mean of the batches that were read on both its sides.
    """
    begun = next((level.median for level in finding.levels if level.stage == "fermenter"), 0.0)
    known = [step for step in finding.steps if step.rise is not None]
    starts = _starts(begun, known)
    first = {
        "type": "bar", "name": "In the fermenter", "x": ["fermenter"], "y": [begun],
        "marker": {"color": colours.limit}, "hovertemplate": f"%{{y:.3~g}} {UNIT}, median<extra></extra>",
    }  # fmt: skip
    blocks = [_block(step, start, colours) for step, start in zip(known, starts, strict=True)]
    return {"data": [first, *blocks], "layout": _layout(colours)}


def _starts(begun: float, steps: list[Step]) -> list[float]:
    starts, at = [], begun
    for step in steps:
        starts.append(at)
        at += step.rise.value if step.rise is not None else 0.0
    return starts


def _block(step: Step, start: float, colours: Palette) -> dict[str, Any]:
    rise = step.rise
    assert rise is not None
    falls = rise.value < 0
    colour = colours.series[_VERMILLION if falls else _BLUE]
    words = f"{change(rise.value, UNIT)} ({span(rise.low, rise.high)})<br>{count(step.batches, 'batch', 'batches')}"
    return {
        "type": "bar", "name": step.label, "x": [_SHORT[step.step]], "y": [rise.value], "base": [start],
        "marker": {"color": "rgba(0,0,0,0)" if falls else colour, "line": {"color": colour, "width": 2}},
        "error_y": {
            "type": "data", "symmetric": False, "array": [rise.high - rise.value],
            "arrayminus": [rise.value - rise.low], "color": colours.ink, "thickness": 1.5, "width": 6,
        },
        "hovertemplate": f"<b>{step.label}</b><br>{words}<extra></extra>",
    }  # fmt: skip


def _layout(colours: Palette) -> dict[str, Any]:
    title = {"text": f"Oxygen [{UNIT}]", "font": {"color": colours.ink, "size": 14}, "standoff": 10}
    return layout(
        colours,
        barmode="overlay",
        bargap=0.35,
        xaxis=axis(colours, type="category", showgrid=False, fixedrange=True, automargin=True),
        yaxis=axis(colours, automargin=True, rangemode="tozero", title=title),
    )
