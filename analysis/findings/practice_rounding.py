"""Is a practice written down so coarsely that its effect looks smaller than it is?

An error in what was written down shrinks a slope by σx² / (σx² + σu²). Values that all stand on a grid of width g
carry an error of variance g²/12; other errors of a log cannot be seen in it.

Source: Fuller 1987, Measurement Error Models, section 1.1, for the shrinking; Sheppard 1898 for g²/12 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_rows import Candidate
from analysis.findings.wording import amount, figure

__all__ = ["Lost", "grid_of", "rounding_caution", "shares_lost"]

GRIDS = (1, 2, 5, 10, 15, 20, 25, 30, 50, 60, 100, 250, 500)
WORTH_SAYING = 0.05
MOST_LOST = 0.9
FEWEST_VALUES = 3
MOST_COUNTED = 12


@dataclass(frozen=True)
class Lost:
    """The grid on which a practice is written down [steps of the practice], and the share of its effect that is lost
    to it, from 0 to 0.9."""

    grid: float
    share: float


def grid_of(values: pd.Series) -> float:
    """Return the widest usual step that all values stand on, 0 where there is none."""
    known = values.dropna().to_numpy(dtype=np.float64)
    if not len(known) or len(np.unique(known)) < FEWEST_VALUES:
        return 0.0
    on = [g for g in GRIDS if np.allclose(known / g, np.round(known / g), atol=1e-6)]
    return float(max(on, default=0.0))


def shares_lost(frame: pd.DataFrame, candidates: Sequence[Candidate]) -> dict[str, Lost]:
    """Return, by column, what coarse writing takes off each effect, where that is worth saying.

    The spread that counts is the one within recipes that the other practices leave: a practice that moves with another
    loses more.

    Parameters
    ----------
    frame : DataFrame
        The fitted rows, with a column for each candidate.
    candidates : sequence of Candidate
        All that are in the model together.
    """
    columns = [c.column for c in candidates]
    by_batch = frame.groupby(["recipe", "batch"])[columns].mean()
    written = {c.column: by_batch[c.column] * c.step for c in candidates if c.practice.type == "number"}
    grids = {
        c.column: grid_of(written[c.column]) / c.step
        for c in candidates
        if c.column in written and not (not c.practice.unit and _counts(written[c.column]))
    }
    if not any(grids.values()):
        return {}
    own = _own_spreads((by_batch - by_batch.groupby("recipe").transform("mean")).to_numpy(dtype=np.float64))
    found = {}
    for column, spread in zip(columns, own, strict=True):
        grid = grids.get(column, 0.0)
        share = min(grid**2 / 12.0 / spread, MOST_LOST) if grid and spread > 0 else 0.0
        if share >= WORTH_SAYING:
            found[column] = Lost(grid, share)
    return found


def _counts(values: pd.Series) -> bool:
    """Tell whether numbers without a unit count something, such as dumps: small and whole, and not rounded."""
    known = values.dropna().to_numpy(dtype=np.float64)
    return bool(np.allclose(known, np.round(known), atol=1e-6) and (known >= 0).all() and (known <= MOST_COUNTED).all())


def _own_spreads(within: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return each column's variance that the other columns leave, (p,)."""
    return np.asarray(1.0 / np.diagonal(np.linalg.pinv(within.T @ within / len(within), hermitian=True)))


def rounding_caution(candidate: Candidate, lost: Lost | None) -> str:
    """Return the sentence on a coarsely written practice, empty where it is written finely enough."""
    if lost is None:
        return ""
    return (
        f"written down in steps of {figure(lost.grid * candidate.step, candidate.practice.unit)}: its effect looks "
        f"smaller than it is, by about {amount(100 * lost.share, '%', digits=2)}, so that it has to stay that much "
        "further inside the margin"
    )
