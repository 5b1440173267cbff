"""Was a practice changed only once, so that whatever else changed on that day looks the same?

A before-and-after comparison while things drift finds an effect that is not there 20 to 32 times in 100 at a nominal 5;
no smooth in time mends that. It is told only where some recipe went on unchanged, to hold the change against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_rows import FEWEST_ON_A_SIDE, Candidate
from analysis.findings.practice_words import spoken
from analysis.findings.wording import day, listing

__all__ = ["ChangedOnce", "changed_once"]

# Share of a practice's spread within recipes that one step in time explains: above it, it was one change.
ONE_STEP = 0.9
# Two changes within so many days cannot be told apart.
SAME_TIME_DAYS = 14.0

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ChangedOnce:
    """``at`` is the first packing day after the change; ``unchanged`` the recipes that went on as before, with batches
    on both sides; ``also`` the labels of other practices that changed at that time too."""

    at: pd.Timestamp
    unchanged: tuple[str, ...]
    also: tuple[str, ...]

    @property
    def is_comparable(self) -> bool:
        """Whether something went on unchanged."""
        return bool(self.unchanged)

    @property
    def sentence(self) -> str:
        """What a brewer must know."""
        beside = f", while {listing(list(self.also))} also changed" if self.also else ""
        held = f"; held against {listing(list(self.unchanged))}, which went on unchanged" if self.unchanged else ""
        return f"changed only once, about {day(self.at)}{beside}: whatever else changed then looks the same{held}"


def changed_once(frame: pd.DataFrame, candidates: Sequence[Candidate]) -> dict[str, ChangedOnce]:
    """Return the candidates that changed once, by column.

    Parameters
    ----------
    frame : DataFrame
        The compared rows, with a column for each candidate.
    candidates : sequence of Candidate
    """
    columns = [c.column for c in candidates]
    if not columns or not len(frame):
        return {}
    by_batch = frame.groupby(["recipe", "batch"], sort=False)[[*columns, "day"]].mean().reset_index()
    by_batch = by_batch.sort_values("day", kind="stable")
    begin = frame["packed_at"].min()
    found = {c: cut for c in columns if (cut := _one_step(by_batch.dropna(subset=[c]), c)) is not None}
    practice = {c.column: c.practice.name for c in candidates}
    told = {c.column: f"the {spoken(c.practice.label)}" if c.level else c.spoken for c in candidates}
    return {
        column: ChangedOnce(
            begin + pd.Timedelta(days=at),
            unchanged,
            tuple(
                dict.fromkeys(
                    told[c]
                    for c, (t, _) in found.items()
                    if practice[c] != practice[column] and abs(t - at) <= SAME_TIME_DAYS
                )
            ),
        )
        for column, (at, unchanged) in found.items()
    }


def _one_step(by_batch: pd.DataFrame, column: str) -> tuple[float, tuple[str, ...]] | None:
    """The day of the change and the recipes that had none, or None where it was not one step."""
    if len(by_batch) < 2:
        return None
    recipes, names = pd.factorize(by_batch["recipe"])
    x = by_batch[column].to_numpy(dtype=np.float64)
    member = np.eye(len(names))[recipes]
    within = x - (member.T @ x / member.sum(axis=0))[recipes]
    total = float(within @ within)
    if total <= 0:
        return None
    days = by_batch["day"].to_numpy(dtype=np.float64)
    before, sums = member.cumsum(axis=0)[:-1], (member * within[:, None]).cumsum(axis=0)[:-1]
    after = member.sum(axis=0) - before
    inside = (before > 0) & (after > 0)
    explained = np.where(inside, sums**2 / np.maximum(before, 1) + sums**2 / np.maximum(after, 1), 0.0).sum(axis=1)
    explained = np.where(np.diff(days) > 0, explained, 0.0)
    cut = int(np.argmax(explained))
    if explained[cut] < ONE_STEP * total:
        return None
    spread = member.T @ within**2
    enough = (before[cut] >= FEWEST_ON_A_SIDE) & (after[cut] >= FEWEST_ON_A_SIDE)
    unchanged = tuple(sorted(str(name) for name, s, e in zip(names, spread, enough, strict=True) if e and s <= 1e-12))
    return float(days[cut + 1]), unchanged
