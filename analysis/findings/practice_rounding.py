"""Is a practice written down so coarsely that its effect looks smaller than it is?

An error in what was written down shrinks a slope by σx² / (σx² + σu²). Values that all stand on a grid of width g
carry an error of variance g²/12; other errors of a log cannot be seen in it.

Source: Fuller 1987, Measurement Error Models, section 1.1, for the shrinking; Sheppard 1898 for g²/12 (from memory).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.findings.practice_rows import Candidate
from analysis.findings.wording import amount

__all__ = ["grid_of", "rounding_caution"]

GRIDS = (1, 2, 5, 10, 15, 20, 25, 30, 50, 60, 100, 250, 500)
WORTH_SAYING = 0.05
FEWEST_VALUES = 3


def grid_of(values: pd.Series) -> float:
    """Return the widest usual step that all values stand on, 0 where there is none."""
    known = values.dropna().to_numpy(dtype=np.float64)
    if not len(known) or len(np.unique(known)) < FEWEST_VALUES:
        return 0.0
    on = [g for g in GRIDS if np.allclose(known / g, np.round(known / g), atol=1e-6)]
    return float(max(on, default=0.0))


def rounding_caution(candidate: Candidate, frame: pd.DataFrame) -> str:
    """Return the sentence on a coarsely written practice, empty where it is written finely enough."""
    if candidate.practice.type != "number":
        return ""
    by_batch = frame.groupby(["recipe", "batch"])[candidate.column].first() * candidate.step
    grid = grid_of(by_batch)
    within = by_batch - by_batch.groupby("recipe").transform("mean")
    spread = float((within**2).mean())
    if not grid or not spread:
        return ""
    lost = min(grid**2 / 12.0 / spread, 1.0)
    if lost < WORTH_SAYING:
        return ""
    return (
        f"written down in steps of {amount(grid, candidate.practice.unit)}: its effect looks smaller than it is, by "
        f"about {amount(100 * lost, '%', digits=2)}"
    )
