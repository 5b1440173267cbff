"""Does a series keep within the targets on record for its recipe and format?"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import Capability, Chart, Index, capability

__all__ = ["TargetBook", "TargetLimits", "TargetsKept", "target_limits", "targets_kept", "targets_on_record"]


_MOVED = "the chart is not stable: its level moved"


@dataclass(frozen=True)
class TargetLimits:
    """The limits that a brewery set itself for a recipe and format [kept unit]; None where there is none."""

    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class TargetsKept:
    """The limits on record and how the runs keep within them.

    ``chart`` is what is held against them, ``censored`` as for ``capability``; ``moved`` is whether the level moved
    within the last phase: there is then no one level to hold against the limits.
    """

    limits: TargetLimits
    chart: Chart = field(repr=False, compare=False)
    censored: npt.NDArray[np.int8] = field(repr=False, compare=False)
    moved: bool = False

    @cached_property
    def capability(self) -> Capability:
        """How the runs of the last phase keep within the limits; worked out when somebody looks."""
        found = capability(self.chart, lower=self.limits.lower, upper=self.limits.upper, censored=self.censored)
        if self.moved and found.why_not is None:
            return Capability(found.runs, None, None, None, None, None, math.nan, math.nan, _MOVED)
        return found

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        found = self.capability
        return {
            "lower": self.limits.lower,
            "upper": self.limits.upper,
            "runs": found.runs,
            "cp": _index(found.cp),
            "cpk": _index(found.cpk),
            "pp": _index(found.pp),
            "ppk": _index(found.ppk),
            "by_percentiles": _index(found.percentile),
            "share_below": None if math.isnan(found.beyond_lower) else found.beyond_lower,
            "share_above": None if math.isnan(found.beyond_upper) else found.beyond_upper,
            "why_not": found.why_not,
        }


@dataclass(frozen=True)
class _Line:
    recipe: str | None
    format: str | None
    limits: TargetLimits


@dataclass(frozen=True)
class TargetBook:
    """The targets of one measure, in the order in which they are on record."""

    lines: tuple[_Line, ...]

    def limits(self, recipe: str | None, format: str | None) -> TargetLimits | None:
        """Return the limits of a series, the most particular first; None where there is none.

        A target for the recipe in this format counts before one for the recipe, that before one for the format, and
        that before one for everything. Of several alike the last on record counts.
        """
        own = [line for line in self.lines if line.recipe in (None, recipe) and line.format in (None, format)]
        best = max(enumerate(own), key=lambda each: (_particular(each[1]), each[0]), default=None)
        return None if best is None else best[1].limits


def _particular(line: _Line) -> int:
    return 2 * (line.recipe is not None) + (line.format is not None)


def targets_on_record(targets: pd.DataFrame, measure: str) -> TargetBook:
    """Return the targets of a measure that have a limit.

    Parameters
    ----------
    targets : DataFrame
        The targets on record: ``recipe``, ``format``, ``quantity``, ``lower``, ``upper``.
    measure : str
    """
    if not len(targets):
        return TargetBook(())
    own = targets[(targets["quantity"] == measure) & (targets["lower"].notna() | targets["upper"].notna())]
    rows = zip(*(own[column].tolist() for column in ("recipe", "format", "lower", "upper")), strict=True)
    return TargetBook(
        tuple(
            _Line(_text(recipe), _text(form), TargetLimits(_limit(lower), _limit(upper)))
            for recipe, form, lower, upper in rows
        )
    )


def target_limits(targets: pd.DataFrame, measure: str, recipe: str | None, format: str | None) -> TargetLimits | None:
    """Return the limits on record for one series, as ``TargetBook.limits`` does."""
    return targets_on_record(targets, measure).limits(recipe, format)


def _text(cell: object) -> str | None:
    return cell if isinstance(cell, str) else None


def targets_kept(
    chart: Chart | None, limits: TargetLimits | None, censored: npt.NDArray[np.int8], moved: bool = False
) -> TargetsKept | None:
    """Return how a chart's runs keep within limits; None where there is no chart, no limit, or limits out of order.

    Parameters
    ----------
    chart : Chart or None
    limits : TargetLimits or None
    censored : array of int, shape (n,)
        As for ``capability``.
    moved : bool
        Whether the level moved within the last phase: there is then no one level to hold against the limits.
    """
    if chart is None or limits is None:
        return None
    if limits.lower is not None and limits.upper is not None and limits.lower >= limits.upper:
        return None
    return TargetsKept(limits, chart, censored, moved)


def _limit(cell: float) -> float | None:
    return None if pd.isna(cell) else float(cell)


def _index(index: Index | None) -> dict[str, float] | None:
    return None if index is None else {"value": index.value, "low": index.low, "high": index.high}
