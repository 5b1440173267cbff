"""What would the readings of a meter that has moved be, set right or set aside, and what would the verdicts be then?

Nothing on record is changed: a pack table is made beside the one that stands. Only what the meter has moved since it
left its course is taken back. The bias that it always had stays: the model of practices has the meter beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.findings.filters import Filters
from analysis.findings.meter_bias import Checked, MeterBias
from analysis.findings.meter_course import State
from analysis.findings.practices import practices
from analysis.linking import PackTable

__all__ = ["Otherwise", "corrected", "excess", "moved_meters", "set_aside", "verdicts_otherwise"]

Floats = NDArray[np.float64]

# What a meter of a quantity reads, or what is worked out from its reading in proportion.
_READ_WITH: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "dissolved_oxygen": ("dissolved_oxygen", "total_oxygen"),
        "total_oxygen": ("total_oxygen",),
        "haze": ("haze", "haze_forward"),
    }
)


@dataclass(frozen=True)
class Otherwise:
    """A practice's verdict on a measure as it stands, with the readings set right, and with them set aside.

    "not assessed" where a table bears no verdict on it. ``readings`` counts the packs' readings that it is about.
    """

    measure: str
    practice: str
    stands: str
    set_right: str
    set_aside: str
    readings: int

    @property
    def differs(self) -> bool:
        """Whether either way another verdict comes out."""
        return not self.stands == self.set_right == self.set_aside


def moved_meters(meters: Iterable[MeterBias]) -> tuple[MeterBias, ...]:
    """Return the meters whose checks against a reference have left their course and not come back."""
    return tuple(m for m in meters if m.span is not None and m.span.course.state in (State.DRIFTING, State.SHIFTED))


def excess(checked: Checked, at: pd.Series) -> Floats:
    """Return by how much a meter reads beyond its first level at each time, shape (n,) [natural log].

    0 before it left its course. A drift is taken to go on at its rate after the last check.
    """
    course = checked.course
    days = ((at - pd.Timestamp(checked.began)).dt.total_seconds() / 86_400).to_numpy(dtype=np.float64)
    if course.state is State.DRIFTING:
        return np.where(days > course.since, course.per_week * (days - course.since) / 7, 0.0)
    if course.state is State.SHIFTED:
        return np.where(days >= course.since, course.level - course.before, 0.0)
    return np.zeros(days.size)


def corrected(table: PackTable, meters: Iterable[MeterBias]) -> PackTable:
    """Return the pack table with the readings of moved meters set right; those of other stages are as they were."""
    return _changed(table, meters, lambda values, off: values / np.exp(off))


def set_aside(table: PackTable, meters: Iterable[MeterBias]) -> PackTable:
    """Return the pack table without the readings of moved meters since they left their course."""
    return _changed(table, meters, lambda values, off: np.where(off == 0, values, np.nan))


def verdicts_otherwise(
    table: PackTable, meters: Iterable[MeterBias], filters: Filters | None = None
) -> tuple[Otherwise, ...]:
    """Return the verdicts on every measure that a moved meter read, as they stand and the two other ways.

    Parameters
    ----------
    table : PackTable
    meters : iterable of MeterBias
        As the finding on meters has them.
    filters : Filters, optional
        As for ``practices``.
    """
    moved = moved_meters(meters)
    right, aside = corrected(table, moved), set_aside(table, moved)
    found = []
    for measure in dict.fromkeys(name for m in moved for name in _READ_WITH.get(m.measure.name, ())):
        number = int((table.rows[measure].notna() & aside.rows[measure].isna()).sum()) if measure in table.rows else 0
        if number:
            told = [_verdicts(one, measure, filters) for one in (table, right, aside)]
            found += [
                Otherwise(measure, practice, verdict, _of(told[1], practice), _of(told[2], practice), number)
                for practice, verdict in told[0].items()
            ]
    return tuple(found)


def _verdicts(table: PackTable, measure: str, filters: Filters | None) -> dict[str, str]:
    return {effect.practice: str(effect.verdict) for effect in practices(table, measure, filters).practices}


def _of(verdicts: dict[str, str], practice: str) -> str:
    return verdicts.get(practice, "not assessed")


def _changed(table: PackTable, meters: Iterable[MeterBias], change: Callable[[Floats, Floats], Floats]) -> PackTable:
    rows = table.rows.copy()
    for meter in moved_meters(meters):
        for measure in _READ_WITH.get(meter.measure.name, ()):
            by = f"{measure}_meter"
            if measure not in rows or by not in rows or meter.span is None:
                continue
            own = (rows[by] == meter.meter).fillna(False).astype(bool) & rows["measured_at"].notna()
            off = excess(meter.span, rows.loc[own, "measured_at"])
            rows.loc[own, measure] = change(rows.loc[own, measure].to_numpy(dtype=np.float64), off)
    return replace(table, rows=rows)
