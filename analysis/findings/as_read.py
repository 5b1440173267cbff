"""What would the verdicts and the signals be if every reading counted as it was read?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.charts import FIRST_RULES
from analysis.findings.as_read_result import AsRead, Line
from analysis.findings.baselines import FrozenPhase
from analysis.findings.filters import Filters
from analysis.findings.meter_otherwise import NOT_ASSESSED
from analysis.findings.pickup import pickup
from analysis.findings.pickup_result import UNIT, Step
from analysis.findings.practices import practices
from analysis.findings.readiness import ready
from analysis.findings.series import Move, Series
from analysis.findings.stability import stability
from analysis.findings.wording import amount, change, count, day, percent, span
from analysis.linking import PackTable
from analysis.vocabulary import measure as measure_of

__all__ = ["charts_as_read", "forecast_as_read", "rises_as_read", "verdicts_as_read"]

_NOTHING = "no signal and no move"


def verdicts_as_read(table: PackTable, measure: str, filters: Filters | None = None) -> AsRead | None:
    """Return each practice's verdict both ways; None where no reading of the measure was set right or set aside.

    Parameters are those of ``practices``.
    """
    remarks = _remarks(table, measure, stage="pack")
    if table.as_read is None or not remarks:
        return None
    ours, read = (
        {effect.label: str(effect.verdict) for effect in practices(one, measure, filters).practices}
        for one in (table, table.as_read)
    )
    return AsRead("verdict", remarks, _lines(ours, read, NOT_ASSESSED))


def charts_as_read(
    table: PackTable,
    measure: str,
    stage: str = "pack",
    filters: Filters | None = None,
    rules: Sequence[str] = FIRST_RULES,
    phases: Sequence[FrozenPhase] = (),
) -> AsRead | None:
    """Return each chart's signals and moves both ways; None where no reading in them was set right or set aside.

    Parameters are those of ``stability``.
    """
    remarks = _remarks(table, measure, stage=stage)
    if table.as_read is None or not remarks:
        return None
    ours, read = (
        {series.name: _told(series, measure_of(measure).unit) for series in (*made.series, *made.across)}
        for made in (stability(one, measure, stage, filters, rules, phases) for one in (table, table.as_read))
    )
    return AsRead("chart", remarks, _lines(ours, read, "no chart"))


def rises_as_read(table: PackTable, filters: Filters | None = None) -> AsRead | None:
    """Return oxygen's rise at each step both ways; None where no oxygen reading was set right or set aside.

    Parameters are those of ``pickup``.
    """
    remarks = _remarks(table, "dissolved_oxygen", "total_oxygen")
    if table.as_read is None or not remarks:
        return None
    ours, read = ({step.label: _risen(step) for step in pickup(one, filters).steps} for one in (table, table.as_read))
    return AsRead("rise", remarks, _lines(ours, read, "not known"))


def forecast_as_read(table: PackTable, batch: str, confidence: float = 0.9) -> AsRead | None:
    """Return a tank's forecast both ways; None where no haze reading of a tank was set right or set aside.

    Parameters are those of ``ready``.
    """
    remarks = _remarks(table, "haze", stage="fermenter") or _remarks(table, "haze", stage="bright_tank")
    if table.as_read is None or not remarks:
        return None
    ours, read = (ready(one, batch, confidence=confidence, changes=False) for one in (table, table.as_read))
    name = f"Batch {ours.batch}"
    return AsRead("forecast", remarks, (Line(name, ours.answer, read.answer),))


def _risen(step: Step) -> str:
    rise = step.rise
    return "not known" if rise is None else f"{change(rise.value, UNIT)} ({span(rise.low, rise.high)})"


def _remarks(table: PackTable, *measures: str, stage: str | None = None) -> tuple[str, ...]:
    """Return what is said of the table and not of the one with every reading as it was read."""
    of_both = () if table.as_read is None else table.as_read.remarks_on(*measures, stage=stage)
    return tuple(one for one in table.remarks_on(*measures, stage=stage) if one not in of_both)


def _lines(ours: dict[str, str], read: dict[str, str], missing: str) -> tuple[Line, ...]:
    return tuple(Line(name, ours.get(name, missing), read.get(name, missing)) for name in dict.fromkeys([*ours, *read]))


def _told(series: Series, unit: str) -> str:
    """Return a chart's signals and moves in words."""
    if series.why_not is not None:
        return series.why_not
    runs = sorted({series.points[signal.at].run or series.points[signal.at].batch for signal in series.signals})
    said = [f"{count(len(runs), 'signal')} ({', '.join(runs)})"] if runs else []
    said += [_moved(move, unit if series.recipe is not None else "") for move in series.moves]
    return "; ".join(said) or _NOTHING


def _moved(move: Move, unit: str) -> str:
    size = percent(move.percent) if move.percent == move.percent else amount(move.after - move.before, unit)
    return f"moved {size} {'from' if move.gradual else 'about'} {day(move.at)}"
