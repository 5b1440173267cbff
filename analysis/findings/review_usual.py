"""How did each practice stand in the runs of a matter, and how does it stand usually?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.review_matters import Matter
from analysis.findings.wording import amount
from analysis.linking import PackTable
from analysis.vocabulary import Practice

__all__ = ["Standing", "standings"]

_PLAINLY = 0.5  # of runs, for a category
_ERRORS = 2.0  # standard errors between the two sides, from the spread of the usual runs

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Standing:
    """One practice in words, in the matter's runs and usually; ``differs`` where the two are plainly apart."""

    label: str
    here: str
    usually: str
    differs: bool


def standings(matter: Matter, table: PackTable) -> dict[str, Standing]:
    """Return, by practice, how it stood; a practice that nobody noted on either side is left out."""
    rows = _practice_rows(matter, table)
    weights = matter.size.weights
    found = {}
    for practice in table.practices:
        if practice.name not in rows:
            continue
        told = _standing(practice, rows[practice.name], weights)
        if told is not None:
            found[practice.name] = told
    return found


def _practice_rows(matter: Matter, table: PackTable) -> pd.DataFrame:
    """Return the practices of the chart's runs, one row a run, in order; before the pack, those of the batch's first
    run, as they stood when its packs were closed."""
    names = [p.name for p in table.practices if p.name in table.rows]
    by_run = table.rows.drop_duplicates("run").set_index("run")[names]
    labels = matter.chart["label"]
    if matter.key.stage == "pack":
        return by_run.reindex(labels)
    by_batch = table.rows.drop_duplicates("batch").set_index("batch")[names]
    either = pd.concat([by_run, by_batch])
    known = labels.isin(by_run.index)
    return either[~either.index.duplicated()].reindex(labels.where(known, matter.chart["batch"]))


def _standing(practice: Practice, column: pd.Series, weights: Floats) -> Standing | None:
    sides = [(column[weights > 0], weights[weights > 0]), (column[weights < 0], -weights[weights < 0])]
    if any(values.notna().sum() == 0 for values, _ in sides):
        return None
    if practice.type == "category":
        of_these, of_usual = (_shares(values, own) for values, own in sides)
        level = str(of_these.idxmax())
        differs = float(of_these[level]) - float(of_usual.get(level, 0.0)) >= _PLAINLY
        return Standing(practice.label, _level(of_these), _level(of_usual), differs)
    numbers = [_mean(values, own) for values, own in sides]
    spread = float(np.nanstd(column[weights < 0].to_numpy(np.float64)))
    beyond_chance = abs(numbers[0] - numbers[1]) > _ERRORS * spread * math.sqrt(float(weights @ weights))
    if practice.type == "yes_no":
        here, usually = (_yes(number, len(values)) for number, (values, _) in zip(numbers, sides, strict=True))
        return Standing(practice.label, here, usually, beyond_chance)
    unit = "" if practice.type == "count" else practice.unit
    here, usually = (amount(number, unit, digits=3) for number in numbers)
    return Standing(practice.label, here, usually, beyond_chance)


def _mean(values: pd.Series, weights: Floats) -> float:
    numbers = values.to_numpy(np.float64)
    known = np.isfinite(numbers)
    return float(weights[known] @ numbers[known] / weights[known].sum())


def _shares(values: pd.Series, weights: Floats) -> pd.Series:
    """Return the share of runs that had each level."""
    known = values.notna().to_numpy(np.bool_)
    shares = pd.Series(weights[known], index=values[known].astype("str").to_numpy()).groupby(level=0).sum()
    return shares / shares.sum()


def _level(shares: pd.Series) -> str:
    """Return the level that most runs had, with its share where it is not all of them."""
    level, share = str(shares.idxmax()), float(shares.max())
    return level if share > 0.995 else f"{level} ({100 * share:.0f} %)"


def _yes(share: float, runs: int) -> str:
    if runs == 1 or share in (0.0, 1.0):
        return "yes" if share > 0.5 else "no"
    return f"yes in {100 * share:.0f} %"
