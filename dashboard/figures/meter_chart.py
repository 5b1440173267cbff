"""What is drawn of a meter's checks?"""

from __future__ import annotations

import numpy as np

from analysis.findings.meter_bias import Checked, MeterBias
from analysis.findings.wording import change, day
from dashboard.figures.chart_drawing import ChartDrawing, ShiftDrawing

__all__ = ["drawing_of_checks"]


def drawing_of_checks(meter: MeterBias, checked: Checked) -> ChartDrawing:
    """Return the control chart of a meter's deviations: in percent, or in the kept unit against zero.

    The move is drawn where the meter left its course, between the dates that the checks leave open.
    """
    chart = checked.chart
    values, centre = _shown(checked, chart.values), _shown(checked, chart.centre)
    lower, upper = _shown(checked, chart.lower), _shown(checked, chart.upper)
    return ChartDrawing(
        title=f"{meter.meter}, {meter.measure.label.lower()}",
        label="Reads against zero" if checked.against_zero else "Reads too high or low by",
        unit=checked.bias_unit,
        log=False,
        at=checked.days,
        values=values,
        centre=centre,
        lower=lower,
        upper=upper,
        hover=[
            f"<b>{change(float(value), checked.bias_unit)}</b><br>{day(at)}"
            for value, at in zip(values, checked.days, strict=True)
        ],
        runs=[""] * len(values),
        signals=[[found.rule for found in chart.signals.by_rule if place in found.at] for place in range(len(values))],
        shifts=_shifts(checked),
    )


def _shifts(checked: Checked) -> list[ShiftDrawing]:
    course = checked.course
    since, earliest, latest = (checked.moment(days) for days in (course.since, course.earliest, course.latest))
    if since is None or earliest is None or latest is None:
        return []
    return [ShiftDrawing(since, earliest, latest)]


def _shown(checked: Checked, values: np.ndarray) -> np.ndarray:
    return values if checked.against_zero else 100 * np.expm1(values)
