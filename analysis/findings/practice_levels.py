"""What can be said of a category with many levels, such as tanks: do they differ, and does one stand out?

Each level's own part is shrunk toward the others as far as chance explains, so that the best of twelve is not believed
for being the best (Robinson 1991, Statistical Science 6, 15–32); those that stand out are told after allowing for their
number.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from analysis.findings.wording import amount, change, listing, percent
from analysis.models import MixedFit, level_effects
from analysis.verdicts import adjusted_p_values

__all__ = ["told_of_levels"]

FAMILY_RATE = 0.05
PREFIX = "level_"


def told_of_levels(fit: MixedFit, unit: str, *, log: bool) -> dict[str, str]:
    """Return, by practice, what the spread between the levels of each category comes to.

    Parameters
    ----------
    fit : MixedFit
        The page's model.
    unit : str
        The measure's kept unit.
    log : bool
        Whether the model works on logs.
    """
    names = {group.name for group in fit.groups if group.name.startswith(PREFIX)}
    if not names:
        return {}
    found = {}
    for told in level_effects(fit):
        if told.group in names:
            spread = math.sqrt(max(fit.variance(told.group), 0.0))
            values, errors = told.values[:, 0], told.standard_errors[:, 0]
            apart = _apart(values, errors) if spread > 0 else np.zeros(len(values), dtype=np.bool_)
            labels = [(str(told.levels[i]), float(values[i])) for i in np.flatnonzero(apart)]
            found[told.group.removeprefix(PREFIX)] = _sentence(len(values), spread, labels, unit, log=log)
    return found


def _apart(values: np.ndarray, errors: np.ndarray) -> np.ndarray:
    p = 2.0 * stats.norm.sf(np.abs(values) / np.maximum(errors, 1e-300))
    return np.asarray(adjusted_p_values(p) <= FAMILY_RATE)


def _sentence(count: int, spread: float, apart: list[tuple[str, float]], unit: str, *, log: bool) -> str:
    if spread == 0:
        return f"no difference between the {count} that were seen was found beyond that between batches"
    size = amount(100 * math.expm1(spread), "%", digits=2) if log else amount(spread, unit)
    said = f"the {count} that were seen differ by about {size} (one standard deviation), which every verdict allows for"
    if not apart:
        return f"{said}; none of them stands out beyond chance"
    named = [f"{label} ({percent(100 * math.expm1(v)) if log else change(v, unit)})" for label, v in apart]
    return f"{said}; {listing(named)} stand{'s' if len(named) == 1 else ''} out against the others"
