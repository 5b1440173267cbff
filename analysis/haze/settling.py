"""How does haze fall in a tank after a rouse or a dose of finings?

Each batch falls from a stirred haze towards a floor of its own, h(t) = F·(1 + A·exp(−t/τ)), t in hours since the last
rouse or dose. The three are not estimated batch by batch: a batch's are drawn about those of its recipe and a recipe's
about those of the brewery, so that a batch with two readings borrows from its recipe and a new recipe from the others.

Fitted on logs by expectation and maximisation, each batch's distribution taken as normal about its mode (Lindstrom and
Bates 1990, Biometrics 46, 673–687, for the linearised nonlinear mixed model; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.haze.drift import Course, Level, levels

__all__ = ["FEWEST_BATCHES", "PARAMETERS", "Prior", "Settling", "fit_settling", "log_haze", "slopes"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PARAMETERS = ("log floor", "log of stirred haze above the floor, over the floor", "log hours of settling")
FEWEST_BATCHES = 3

# Two batches' worth of belief that keeps a variance from zero: 20 % between batches; a factor of 4 between recipes'
# floors and twice as much haze or time. Common practice, no source; with 20 batches it hardly counts.
_BELIEF = 2.0
_BETWEEN_BATCHES = np.diag([0.2, 0.2, 0.15]) ** 2
_BETWEEN_RECIPES = np.diag([1.4, 0.7, 0.4]) ** 2
_FIRST_HOURS = 15.0
_ROUNDS = 2_000
_SETTLED = 1e-4

_DAYS_APART = 3.0
_RECENT = 12
_FEWEST_BEFORE = 3
_FEWEST_AHEAD = 10


@dataclass(frozen=True, eq=False)
class Prior:
    """Where a batch's three parameters lie before it is read: normal, ``mean`` (3,) and ``covariance`` (3, 3)."""

    mean: Floats
    covariance: Floats


@dataclass(frozen=True, eq=False)
class Settling:
    """How tanks of a brewery settle, as ``PARAMETERS``.

    ``recipes`` holds what is known of the next batch of each recipe and ``unknown`` of one of a recipe never read; the
    uncertainty of the recipe's own mean is in both. A recipe's floor may wander over the months, as ``floors`` says:
    its next batch is expected where the recipe lately was, the less surely the longer ago that is. ``within`` (3, 3) is
    the covariance between all batches of a recipe and ``reading`` the standard deviation of a reading on the log scale.
    """

    recipes: dict[str, Prior]
    floors: dict[str, Level]
    unknown: Prior
    within: Floats
    reading: float
    batches: int
    readings: int
    converged: bool

    def prior(self, recipe: str, day: float | None = None) -> Prior:
        """Return what is known of a new batch of a recipe that settles from that day on, or next where none is named.

        ``day`` counts as ``fit_settling``'s days do.
        """
        if recipe not in self.recipes:
            return self.unknown
        return _about(self.recipes[recipe], *self.floors[recipe].next_batch(day))

    def hours(self, recipe: str) -> float:
        """Return the time in which a recipe's haze above its floor falls to 1/e [h]."""
        return float(np.exp(self.prior(recipe).mean[2]))


@dataclass(frozen=True, eq=False)
class _Book:
    """The readings as a block: ``hours`` and ``logs`` (b, k), ``there`` (b, k) where one is, and ``days`` (b,)."""

    hours: Floats
    logs: Floats
    there: NDArray[np.bool_]
    recipe: Ints
    days: Floats


@dataclass(eq=False)
class _State:
    """What the rounds refine: batches (b, 3) and their covariances, recipes (r, 3) and theirs, the brewery's mean."""

    batch: Floats
    batch_covariance: Floats
    recipe: Floats
    recipe_covariance: Floats
    brewery: Floats
    within: Floats
    between: Floats
    noise: float


def log_haze(parameters: Floats, hours: Floats) -> Floats:
    """Return the log of the haze.

    Parameters
    ----------
    parameters : array, shape (..., 3)
        As ``PARAMETERS``: logs of EBC, of a ratio, and of hours.
    hours : array, shape (..., k)
        Hours since the last rouse or dose [h].

    Returns
    -------
    array, shape (..., k)
        Log of haze in the unit of the floor.
    """
    floor, above, slow = (parameters[..., i, None] for i in range(3))
    return np.asarray(floor + np.logaddexp(0.0, above - hours * np.exp(-slow)), dtype=np.float64)


def fit_settling(
    hours: Floats, haze: Floats, batch: Sequence[str], recipe: Sequence[str], days: Floats | None = None
) -> Settling | None:
    """Return how the brewery's tanks settle; None where fewer than ``FEWEST_BATCHES`` were read.

    Parameters
    ----------
    hours : array, shape (n,)
        Hours between the last rouse or dose and the reading [h], 0 or more; readings in the order of time.
    haze : array, shape (n,)
        Haze read [EBC], above 0.
    batch, recipe : sequence of str, length n
        Which settling a reading belongs to, and of which recipe.
    days : array, shape (n,), optional
        When the reading was made [d, from any day on]; where it is not given, settlings count as three days apart.

    Raises
    ------
    ValueError
        If the lengths differ, or an hour is below 0 or a haze not above 0.
    """
    if not len(hours) == len(haze) == len(batch) == len(recipe):
        raise ValueError(f"fit_settling: all must be of one length, got {len(hours)}, {len(haze)}, {len(batch)}")
    if len(hours) and not ((np.asarray(hours) >= 0).all() and (np.asarray(haze) > 0).all()):
        raise ValueError("fit_settling: hours must be 0 or more and haze above 0")
    names, places = np.unique(np.asarray(recipe, dtype=str), return_inverse=True)
    named = np.asarray(batch, dtype=str)
    book = _book(np.asarray(hours, float), np.log(np.asarray(haze, float)), named, places, days)
    if len(book.hours) < FEWEST_BATCHES:
        return None
    state = _start(book, len(names))
    converged = _refine(book, state)
    ahead = _ahead(book, state)
    priors = {str(name): _next_batch(book, state, i, ahead) for i, name in enumerate(names)}
    floors = dict(zip(map(str, names), _floors(book, state), strict=True))
    unknown = Prior(state.brewery, state.within + state.between * (1 + 1 / len(names)))
    readings = int(book.there.sum())
    return Settling(
        priors, floors, unknown, state.within, float(np.sqrt(state.noise)), len(book.hours), readings, converged
    )


def _floors(book: _Book, state: _State) -> tuple[Level, ...]:
    """Return where the log floor of each recipe stands.

    A batch's floor was drawn towards its recipe's mean; here it stands as its own readings alone have it.
    """
    within, courses = state.within[0, 0], []
    for r in range(len(state.recipe)):
        own = np.flatnonzero(book.recipe == r)
        own = own[np.argsort(book.days[own], kind="stable")]
        drawn, unsure = state.batch[own, 0], state.batch_covariance[own, 0, 0]
        alone = 1 / np.maximum(1 / unsure - 1 / within, 1e-3 / within)
        courses.append(Course(book.days[own], (drawn / unsure - state.recipe[r, 0] / within) * alone, alone))
    return levels(courses, float(state.brewery[0]), float(state.between[0, 0]))


def _about(prior: Prior, floor: float, variance: float) -> Prior:
    """Return a prior with another mean and variance of the log floor; its correlations stay."""
    stretch = np.array([np.sqrt(variance / prior.covariance[0, 0]), 1.0, 1.0])
    return Prior(np.array([floor, *prior.mean[1:]]), prior.covariance * np.outer(stretch, stretch))


def _next_batch(book: _Book, state: _State, recipe: int, ahead: Floats | None) -> Prior:
    own = state.batch[book.recipe == recipe]
    if ahead is None or len(own) < _FEWEST_BEFORE:
        return Prior(state.recipe[recipe], state.within + state.recipe_covariance[recipe])
    return Prior(_expected(state, own[-_RECENT:])[0], ahead)


def _expected(state: _State, recent: Floats) -> tuple[Floats, Floats]:
    """Return a recipe's mean by some of its batches, drawn towards the brewery's, and its covariance."""
    within, between = np.linalg.inv(state.within), np.linalg.inv(state.between)
    covariance = np.linalg.inv(len(recent) * within + between)
    return covariance @ (within @ recent.sum(axis=0) + between @ state.brewery), covariance


def _ahead(book: _Book, state: _State) -> Floats | None:
    """Return how far batches lay from what the dozen before them let expect, (3, 3); None where too few have any."""
    squares, number = _BELIEF * _BETWEEN_BATCHES, 0
    for r in range(len(state.recipe)):
        own, covariance = state.batch[book.recipe == r], state.batch_covariance[book.recipe == r]
        for i in range(_FEWEST_BEFORE, len(own)):
            away = own[i] - _expected(state, own[max(0, i - _RECENT) : i])[0]
            squares = squares + np.outer(away, away) + covariance[i]
            number += 1
    return squares / (number + _BELIEF) if number >= _FEWEST_AHEAD else None


def slopes(parameters: Floats, hours: Floats) -> Floats:
    """Return the derivatives of ``log_haze`` by the three parameters, shape (..., k, 3)."""
    above, slow = (parameters[..., i, None] for i in (1, 2))
    fallen = hours * np.exp(-slow)
    share = 1.0 / (1.0 + np.exp(np.minimum(fallen - above, 500.0)))
    return np.stack([np.ones_like(share), share, share * fallen], axis=-1)


def _book(hours: Floats, logs: Floats, batch: NDArray[np.str_], recipe: Ints, days: Floats | None) -> _Book:
    """Return the readings by batch, the batches in the order in which they were first read."""
    names, first, found = np.unique(batch, return_index=True, return_inverse=True)
    places = np.argsort(np.argsort(first))[found]
    order = np.argsort(places, kind="stable")
    counts = np.bincount(places, minlength=len(names))
    column = np.arange(len(order)) - np.repeat(np.cumsum(counts) - counts, counts)
    shape = len(names), int(counts.max(initial=0))
    block_hours, block_logs, there = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=bool)
    block_hours[places[order], column], block_logs[places[order], column] = hours[order], logs[order]
    there[places[order], column] = True
    of_batch = np.zeros(len(names), dtype=np.int64)
    of_batch[places] = recipe
    begun = _DAYS_APART * np.arange(len(names), dtype=np.float64)
    if days is not None:
        begun = np.full(len(names), np.inf)
        np.minimum.at(begun, places, np.asarray(days, dtype=np.float64))
    return _Book(block_hours, block_logs, there, of_batch, begun)


def _start(book: _Book, recipes: int) -> _State:
    """Begin with each batch's last reading as its floor and its first as its stirred haze."""
    latest = np.where(book.there, book.hours, -np.inf).argmax(axis=1)
    earliest = np.where(book.there, book.hours, np.inf).argmin(axis=1)
    rows = np.arange(len(book.hours))
    floor, top = book.logs[rows, latest] - 0.1, book.logs[rows, earliest]
    above = np.log(np.expm1(np.maximum(top - floor, 0.2))) + book.hours[rows, earliest] / _FIRST_HOURS
    batch = np.column_stack([floor, above, np.full(len(rows), np.log(_FIRST_HOURS))])
    recipe = np.array([np.median(batch[book.recipe == r], axis=0) for r in range(recipes)])
    return _State(
        batch, np.tile(_BETWEEN_BATCHES, (len(rows), 1, 1)), recipe, np.tile(_BETWEEN_BATCHES, (recipes, 1, 1)),
        recipe.mean(axis=0), _BETWEEN_BATCHES * 4, _BETWEEN_RECIPES, 0.1**2,
    )  # fmt: skip


def _refine(book: _Book, state: _State) -> bool:
    for _ in range(_ROUNDS):
        before = np.concatenate([state.recipe.ravel(), np.sqrt(np.diagonal(state.within)), [np.sqrt(state.noise)]])
        _move_batches(book, state)
        _spread(book, state)
        after = np.concatenate([state.recipe.ravel(), np.sqrt(np.diagonal(state.within)), [np.sqrt(state.noise)]])
        if np.abs(after - before).max() < _SETTLED:
            return True
    return False


def _move_batches(book: _Book, state: _State) -> None:
    """Move each batch one Gauss-Newton step towards its mode, or a part of one where the whole would be worse."""
    centre = state.recipe[book.recipe]
    inverse: Floats = np.linalg.inv(state.within).astype(np.float64)
    weight = book.there / state.noise
    slope = slopes(state.batch, book.hours)
    left = book.logs - log_haze(state.batch, book.hours)
    curvature = np.einsum("bki,bk,bkj->bij", slope, weight, slope) + inverse
    gradient = np.einsum("bki,bk->bi", slope, weight * left) - (state.batch - centre) @ inverse
    state.batch_covariance = np.linalg.inv(curvature)
    step = np.einsum("bij,bj->bi", state.batch_covariance, gradient)
    now = _loss(book, state.batch, centre, inverse, weight)
    size = np.ones(len(step))
    for _ in range(6):
        worse = _loss(book, state.batch + size[:, None] * step, centre, inverse, weight) > now + 1e-9
        if not worse.any():
            break
        size[worse] /= 3
    size[worse] = 0.0
    state.batch = state.batch + size[:, None] * step


def _loss(book: _Book, batch: Floats, centre: Floats, inverse: Floats, weight: Floats) -> Floats:
    left, away = book.logs - log_haze(batch, book.hours), batch - centre
    total = (weight * left**2).sum(axis=1) + np.einsum("bi,ij,bj->b", away, inverse, away)
    return np.asarray(total, dtype=np.float64)


def _spread(book: _Book, state: _State) -> None:
    """Bring the recipes, the brewery and every variance up to the batches."""
    for r in range(len(state.recipe)):
        state.recipe[r], state.recipe_covariance[r] = _expected(state, state.batch[book.recipe == r])
    state.brewery = state.recipe.mean(axis=0)
    away = state.recipe - state.brewery
    squares = away.T @ away + state.recipe_covariance.sum(axis=0) + _BELIEF * _BETWEEN_RECIPES
    state.between = squares / (len(away) + _BELIEF)
    away = state.batch - state.recipe[book.recipe]
    squares = away.T @ away + (state.batch_covariance + state.recipe_covariance[book.recipe]).sum(axis=0)
    state.within = (squares + _BELIEF * _BETWEEN_BATCHES) / (len(away) + _BELIEF)
    slope = slopes(state.batch, book.hours)
    left = book.logs - log_haze(state.batch, book.hours)
    unsure = np.einsum("bki,bij,bkj->bk", slope, state.batch_covariance, slope)
    state.noise = float(((left**2 + unsure) * book.there).sum() / book.there.sum())
