"""Does the page find effects where there can be none?

Two negative controls run with every page. Each practice is dealt out anew among the batches of its recipe, several
times over; and each batch is given what was done to the next batch of its recipe, which cannot have moved it. Each such
column is added to the page's own model, at its variances, and tested as a practice would be. More hits than chance
explains mean that the model counts wrongly (dealt out anew), or that a practice followed the beer or the season rather
than moved it (the next batch's).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_single import added_to_rows
from analysis.findings.wording import listing
from analysis.models import MixedFit
from analysis.models.added_columns import added_between_levels
from analysis.models.degrees_of_freedom import level_caps

__all__ = ["Controls", "run_controls"]

SHUFFLES = 5
HIT = 0.05
# A control speaks only where chance would explain its hits less than once in a hundred pages.
RARE = 0.01
SEED = 20_260_101

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Controls:
    """What the controls found.

    ``shuffled`` tests of practices dealt out anew, ``shuffled_hits`` of them below 5 %, and ``shuffled_p`` the chance
    of so many; ``following`` tests of the next batch's practices, ``followed`` the labels of those that hit after
    allowing for their number, and ``following_p`` the least p times that number.
    """

    shuffled: int = 0
    shuffled_hits: int = 0
    shuffled_p: float = 1.0
    following: int = 0
    followed: tuple[str, ...] = ()
    following_p: float = 1.0

    @property
    def sentences(self) -> tuple[str, ...]:
        """What went wrong, in a brewer's words; empty where nothing did."""
        said = []
        if self.shuffled_p <= RARE:
            said.append(
                f"a check failed: practices dealt out to other batches at random still seem to matter in "
                f"{self.shuffled_hits} of {self.shuffled} tries, where chance gives {HIT * self.shuffled:.0f}"
            )
        if self.followed:
            said.append(
                f"a check failed: {listing(list(self.followed))} of the next batch seems to matter to this one, which "
                "it cannot: it may have been changed because of how batches turned out, or moved with something else "
                "over time"
            )
        return tuple(said)


def run_controls(fit: MixedFit, frame: pd.DataFrame, candidates: Sequence[Candidate], *, seed: int = SEED) -> Controls:
    """Run both controls on a page's model.

    Parameters
    ----------
    fit : MixedFit
        The joint model, with ``batch`` among its groups unless every batch has a single row.
    frame : DataFrame
        The rows that it was fitted to.
    candidates : sequence of Candidate
        Those that the model tells.
    seed : int
        Of the dealing out: the same page gives the same answer twice.
    """
    columns = [c.column for c in candidates]
    grouped = any(factor.name == "batch" for factor in fit.sums.design.factors)
    df = next((cap for name, cap, _ in level_caps(fit) if name == "batch"), float(fit.rows - len(fit.names))) - 1.0
    if not columns or df < 1:
        return Controls()
    by_batch = _in_order_of(fit, frame, columns) if grouped else frame[["recipe", "day", *columns]]
    done = by_batch[columns].to_numpy(dtype=np.float64)
    recipes = pd.factorize(by_batch["recipe"])[0]
    rng = np.random.default_rng(seed)
    dealt = [_dealt_out(done, recipes, rng) for _ in range(SHUFFLES)]
    asked = np.hstack([*dealt, _next_batch(done, recipes, by_batch["day"])])
    tested = added_between_levels(fit, "batch", asked).t if grouped else added_to_rows(fit, frame, asked)[0]
    p = np.where(np.isnan(tested), np.nan, 2.0 * stats.t.sf(np.abs(tested), df))
    return _told(p[: -len(columns)], p[-len(columns) :], candidates)


def _told(shuffled: Floats, following: Floats, candidates: Sequence[Candidate]) -> Controls:
    tried, hits = int(np.isfinite(shuffled).sum()), int((shuffled <= HIT).sum())
    asked = int(np.isfinite(following).sum())
    followed = [c.spoken for c, p in zip(candidates, following, strict=True) if p * asked <= RARE]
    return Controls(
        shuffled=tried,
        shuffled_hits=hits,
        shuffled_p=float(stats.binom.sf(hits - 1, tried, HIT)) if tried else 1.0,
        following=asked,
        followed=tuple(followed),
        following_p=float(min(1.0, np.nanmin(following) * asked)) if asked else 1.0,
    )


def _in_order_of(fit: MixedFit, frame: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Return what was done to each batch, in the order of the fit's batches."""
    by_batch = frame.groupby("batch").agg({"recipe": "first", "day": "mean", **dict.fromkeys(columns, "mean")})
    at = [factor.name for factor in fit.sums.design.factors].index("batch")
    return by_batch.reindex([str(label) for label in fit.sums.labels[at]])


def _dealt_out(done: Floats, recipes: npt.NDArray[np.int64], rng: np.random.Generator) -> Floats:
    """Return every column permuted by itself among the batches of each recipe."""
    dealt = done.copy()
    for recipe in range(recipes.max() + 1):
        own = np.flatnonzero(recipes == recipe)
        dealt[own] = rng.permuted(done[own], axis=0)
    return dealt


def _next_batch(done: Floats, recipes: npt.NDArray[np.int64], days: pd.Series) -> Floats:
    """Return what was done to the next batch of the recipe; the last has its recipe's mean, which says nothing."""
    order = np.argsort(days.to_numpy(dtype=np.float64), kind="stable")
    following = np.empty_like(done)
    for recipe in range(recipes.max() + 1):
        own = order[recipes[order] == recipe]
        following[own[:-1]] = done[own[1:]]
        following[own[-1]] = done[own[1:]].mean(axis=0) if len(own) > 1 else done[own].mean(axis=0)
    return following
