"""How did each practice stand in the runs of a matter, and how does it stand usually?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.review_matters import Matter
from analysis.findings.wording import amount
from analysis.linking import PackTable
from analysis.vocabulary import Practice

__all__ = ["Standing", "standings"]

_PLAINLY = 0.5  # of a standard deviation of single runs, or as a share of runs

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
    """Return the practices of the chart's runs, one row a run, in order."""
    names = [p.name for p in table.practices if p.name in table.rows]
    by_run = table.rows.drop_duplicates("run").set_index("run")[names]
    return by_run.reindex(matter.chart["label"])


def _standing(practice: Practice, column: pd.Series, weights: Floats) -> Standing | None:
    sides = [(column[weights > 0], weights[weights > 0]), (column[weights < 0], -weights[weights < 0])]
    if any(values.notna().sum() == 0 for values, _ in sides):
        return None
    if practice.type == "category":
        (here, share), (usually, usual_share) = (_level(values, own) for values, own in sides)
        return Standing(
            practice.label, here, usually, here.split(" (")[0] != usually.split(" (")[0] and share + usual_share > 1
        )
    numbers = [_mean(values, own) for values, own in sides]
    spread = float(np.nanstd(column[weights < 0].to_numpy(np.float64)))
    if practice.type == "yes_no":
        here, usually = (_yes(number, len(values)) for number, (values, _) in zip(numbers, sides, strict=True))
        return Standing(practice.label, here, usually, abs(numbers[0] - numbers[1]) >= _PLAINLY)
    here, usually = (amount(number, practice.unit, digits=3) for number in numbers)
    return Standing(practice.label, here, usually, abs(numbers[0] - numbers[1]) > _PLAINLY * spread)


def _mean(values: pd.Series, weights: Floats) -> float:
    numbers = values.to_numpy(np.float64)
    known = np.isfinite(numbers)
    return float(weights[known] @ numbers[known] / weights[known].sum())


def _level(values: pd.Series, weights: Floats) -> tuple[str, float]:
    """Return the level that most runs had, with its share where it is not all of them."""
    known = values.notna().to_numpy(np.bool_)
    shares = pd.Series(weights[known], index=values[known].astype("str").to_numpy()).groupby(level=0).sum()
    level, share = str(shares.idxmax()), float(shares.max() / shares.sum())
    return (level if share > 0.995 else f"{level} ({100 * share:.0f} %)"), share


def _yes(share: float, runs: int) -> str:
    if runs == 1 or share in (0.0, 1.0):
        return "yes" if share > 0.5 else "no"
    return f"yes in {100 * share:.0f} %"
