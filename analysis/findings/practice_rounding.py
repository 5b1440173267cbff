"""Is a practice written down so coarsely that its effect looks smaller than it is?

An error in what was written down shrinks a slope by σx² / (σx² + σu²). Values that all stand on a grid of width g
carry an error of variance g²/12. Where many batches share three to five values, each stands for whatever was nearest to
it: anything from a below it to b above it, of variance (a² − ab + b²) / 3 about it, which is g²/12 on a grid. Other
errors of a log cannot be seen in it.

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
# So few values, each in so many batches on average, are what was written down rather than what was done.
FEW_VALUES = 5
BATCHES_EACH = 8
SAME = 1e-9

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Lost:
    """The grid on which a practice is written down [steps of the practice], and the share of its effect that is lost
    to it, from 0 to 0.9; ``values`` counts those that are written where they are few, off any grid as wide."""

    grid: float
    share: float
    values: int = 0


def grid_of(values: pd.Series) -> float:
    """Return the widest usual step that all values stand on, 0 where there is none."""
    known = values.dropna().to_numpy(dtype=np.float64)
    if not len(known) or len(np.unique(known)) < FEWEST_VALUES:
        return 0.0
    return float(max((g for g in GRIDS if _stand_on(known / g)), default=0.0))


def _stand_on(counted: Floats) -> bool:
    """Tell whether values stand on a grid whose steps they are counted in; beside a far wider one all are at its 0."""
    places = np.round(counted)
    return np.allclose(counted, places, atol=1e-6) and len(np.unique(places)) >= FEWEST_VALUES


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
    practices = {c.column: c for c in candidates}
    written = {c.column: by_batch[c.column] * c.step for c in candidates if c.practice.type == "number"}
    written = {name: values for name, values in written.items() if not _counts(practices[name], values)}
    grids = {name: grid_of(values) / practices[name].step for name, values in written.items()}
    few = {name: _error_of_few(values) / practices[name].step ** 2 for name, values in written.items()}
    if not any(grids.values()) and not any(few.values()):
        return {}
    own = _own_spreads((by_batch - by_batch.groupby("recipe").transform("mean")).to_numpy(dtype=np.float64))
    spreads = {name: float(spread) for name, spread in zip(columns, own, strict=True) if spread > 0}
    found = {}
    for name in (name for name in columns if name in written and name in spreads):
        on_grid = grids[name] ** 2 / 12.0
        share = min(max(on_grid, few[name]) / spreads[name], MOST_LOST)
        if share >= WORTH_SAYING:
            found[name] = Lost(grids[name], share, written[name].nunique() if few[name] > on_grid + SAME else 0)
    return found


def _error_of_few(values: pd.Series) -> float:
    """Return the variance of what a few written values leave out [the practice's unit, squared]; 0 where they are not
    few, or not each of many batches."""
    known = values.dropna().to_numpy(dtype=np.float64)
    kept, counts = np.unique(np.round(known, 9), return_counts=True)
    if not FEWEST_VALUES <= len(kept) <= FEW_VALUES or len(known) < BATCHES_EACH * len(kept):
        return 0.0
    gaps = np.diff(kept) / 2.0  # the outermost values reach as far out as they do inwards
    below, above = np.append(gaps[0], gaps), np.append(gaps, gaps[-1])
    return float(counts @ ((below**2 - below * above + above**2) / 3.0) / counts.sum())


def _counts(candidate: Candidate, values: pd.Series) -> bool:
    """Tell whether numbers without a unit count something, such as dumps: small and whole, and not rounded."""
    if candidate.practice.unit:
        return False
    known = values.dropna().to_numpy(dtype=np.float64)
    return bool(np.allclose(known, np.round(known), atol=1e-6) and (known >= 0).all() and (known <= MOST_COUNTED).all())


def _own_spreads(within: Floats) -> Floats:
    """Return each column's variance that the other columns leave, (p,)."""
    return np.asarray(1.0 / np.diagonal(np.linalg.pinv(within.T @ within / len(within), hermitian=True)))


def rounding_caution(candidate: Candidate, lost: Lost | None) -> str:
    """Return the sentence on a coarsely written practice, empty where it is written finely enough."""
    if lost is None:
        return ""
    how = (
        f"written down as one of only {lost.values} values (unless it was exactly that)"
        if lost.values
        else f"written down in steps of {figure(lost.grid * candidate.step, candidate.practice.unit)}"
    )
    return (
        f"{how}: its effect looks smaller than it is, by about {amount(100 * lost.share, '%', digits=2)}, so that it "
        "has to stay that much further inside the margin"
    )
