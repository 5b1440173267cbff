"""What would the mean of each level be, other things equal?

The fixed part is evaluated over a grid of all levels of its categories with its numbers at their means, and averaged:
over the levels of the other categories alike, or in proportion to the rows.

Source: Searle, Speed & Milliken 1980, The American Statistician 34, 216–221 (population marginal means).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

import numpy as np
import pandas as pd

from analysis.models.arrays import Floats
from analysis.models.contrasts import Contrast, contrast
from analysis.models.degrees_of_freedom import DfMethod
from analysis.models.frame_rows import needed_columns
from analysis.models.mixed import MixedFit

__all__ = ["AdjustedMean", "Difference", "adjusted_means", "differences"]


@dataclass(frozen=True)
class AdjustedMean:
    """A level's mean with the other columns alike, on the scale of the response as the formula has it."""

    level: Hashable
    mean: Contrast
    weights: Floats


@dataclass(frozen=True)
class Difference:
    """One level's adjusted mean less another's."""

    level: Hashable
    other: Hashable
    difference: Contrast


def adjusted_means(
    fit: MixedFit,
    frame: pd.DataFrame,
    by: str,
    *,
    at: Mapping[str, object] | None = None,
    weights: Literal["equal", "rows"] = "equal",
    method: DfMethod = "kenward-roger",
    level: float = 0.95,
) -> tuple[AdjustedMean, ...]:
    """The adjusted mean of each level of a categorical column.

    Parameters
    ----------
    by : str
        A column of the fixed part with levels.
    at : mapping of column to value
        Values to hold other columns at, instead of a number's mean or the average over a category's levels.
    weights : "equal" or "rows"
        Whether the other categories' levels count alike or as often as rows have them.

    Raises
    ------
    ValueError
        If ``by`` is no categorical column of the fixed part, ``at`` names another column, or ``weights`` is unknown.
    """
    design = fit.sums.design
    if set(fit.names + fit.dropped) != set(design.fixed):
        raise ValueError("adjusted_means: fit must use all the columns of its formula, got a submodel")
    if by not in design.levels:
        raise ValueError(f"by must be one of {', '.join(design.levels) or 'no column'}, got {by!r}")
    if weights not in ("equal", "rows"):
        raise ValueError(f"weights must be 'equal' or 'rows', got {weights!r}")
    needed = needed_columns(design)
    strange = [name for name in (at or {}) if name not in needed or name == by]
    if strange:
        raise ValueError(f"at must name other columns of the fixed part, got {', '.join(strange)}")
    used = frame.dropna(subset=list(design.variables))
    grid, share = _grid(used, needed, by, design.levels, dict(at or {}), weights == "rows")
    columns = design.fixed_rows(grid)[:, [design.fixed.index(name) for name in fit.names]]
    results = []
    for each in design.levels[by]:
        chosen = (grid[by] == each).to_numpy()
        row = np.average(columns[chosen], axis=0, weights=share[chosen])
        results.append(AdjustedMean(each, contrast(fit, row, method=method, level=level), row))
    return tuple(results)


def differences(
    fit: MixedFit, means: tuple[AdjustedMean, ...], *, method: DfMethod = "kenward-roger", level: float = 0.95
) -> tuple[Difference, ...]:
    """Every pair of levels, the later less the earlier; the intervals are not adjusted for their number."""
    return tuple(
        Difference(b.level, a.level, contrast(fit, b.weights - a.weights, method=method, level=level))
        for a, b in combinations(means, 2)
    )


def _grid(
    used: pd.DataFrame,
    needed: list[str],
    by: str,
    levels: Mapping[str, tuple[Hashable, ...]],
    at: dict[str, object],
    by_rows: bool,
) -> tuple[pd.DataFrame, Floats]:
    """The grid and the weight of each of its rows."""
    values: dict[str, tuple[object, ...]] = {}
    shares: dict[str, Floats] = {}
    for name in needed:
        if name in at:
            values[name] = (at[name],)
        elif name in levels:
            values[name] = tuple(levels[name])
        else:
            values[name] = (float(used[name].mean()),)
        counted = used[name].value_counts()
        equal = name == by or name in at or name not in levels or not by_rows
        shares[name] = np.array([1.0 if equal else float(counted.get(value, 0)) for value in values[name]])
    grid = pd.DataFrame(list(product(*values.values())), columns=list(values))
    share = np.array([np.prod(each) for each in product(*shares.values())])
    return grid, share
