"""What is the likelihood's maximum where nearly all readings are exact and a few are limits?

The exact rows enter through their cross products alone, as in the Gaussian model, and are integrated out exactly; they
foretell the limits' linear predictors, and only over those an integral is left (``limit_terms``). It is the criterion
of ``laplace`` to its last digits, at a small part of the cost: a search over the relative variances, inside which the
coefficients and the residual's log standard deviation are solved for by Newton's steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.models.arrays import CannotFitError, Floats, Ints
from analysis.models.criterion import Solution, solve
from analysis.models.cross_products import CrossProducts
from analysis.models.curvature import average_information
from analysis.models.design import Rows
from analysis.models.families import Family
from analysis.models.foretold import Foretold, Others, foretold, others_of
from analysis.models.gradient import eliminated_products, rest_products, traces
from analysis.models.limit_terms import LimitTerms, limit_terms
from analysis.models.moments import variances_by_moments
from analysis.models.parameters import Parameters
from analysis.models.search import bounded_step, mended
from analysis.models.system import System, system_of

__all__ = [
    "Place",
    "Setting",
    "bend_inside",
    "by_inside",
    "by_phi",
    "maximise",
    "placed",
    "setting_of",
    "settled",
    "with_one_more",
]

_STEPS = 40
_HALVINGS = 25
_LEVEL = 1e-10  # the deviance that a full step would still gain
_INNER_LEVEL = 1e-16
_BESIDE_LEVEL = 1e-8  # the log likelihood that a step may still gain where no search rests on it
_FORETOLD = 0.5  # share of a change of slope that may have been foretold wrongly for the bend to be mended by it
_SLACK = 1e-12


@dataclass(frozen=True, eq=False)
class Setting:
    """The exact rows' system, the limits as its others, their family, and what their means have beside the system's
    own columns, ``offset`` (c,)."""

    system: System
    parameters: Parameters
    others: Others
    family: Family
    offset: Floats


@dataclass(frozen=True, eq=False)
class Place:
    """The model at relative variances ``phi`` (T,), coefficients ``beta`` (p,) of the system's columns and the
    residual's ``log_sd``: the Gaussian part's solution, what it foretells, what the limits say, and the log
    likelihood."""

    phi: Floats
    solution: Solution
    told: Foretold
    beta: Floats
    log_sd: float
    limits: LimitTerms
    value: float

    @property
    def variance(self) -> float:
        """σ²."""
        return math.exp(2.0 * self.log_sd)

    @property
    def turn(self) -> Floats:
        """(p+1,): what makes residuals of the dense columns."""
        return np.append(-self.beta, 1.0)


def setting_of(sums: CrossProducts, limits: Rows, X: Floats, family: Family, fixed: tuple[str, ...]) -> Setting:
    """Bring together exact rows that were added up and rows that are limits.

    Parameters
    ----------
    limits : Rows
        With levels numbered as the sums number them.
    X : array, shape (c, p)
        The limits' fixed columns as given, those of ``fixed``.

    Raises
    ------
    CannotFitError
        If the exact rows alone cannot carry the fixed columns.
    """
    system = system_of(sums, fixed)
    if system.dropped:
        raise CannotFitError(f"the exact readings alone cannot tell {', '.join(system.dropped)}")
    others = others_of(system, limits, X @ system.basis)
    return Setting(system, Parameters(system.blocks), others, family, X @ system.offset)


def maximise(setting: Setting, begin: Floats | None = None) -> tuple[Place, int]:
    """Find the most likely place, from relative variances ``begin``; the second answer is how many were tried.

    Raises
    ------
    CannotFitError
        If the search does not end.
    """
    if begin is None:
        begin = setting.parameters.near(variances_by_moments(setting.system))
    place = settled(setting, begin, None)
    tried, before = 1, None
    for _ in range(_STEPS if len(place.phi) else 0):
        slope = -2.0 * by_phi(setting, place)
        bend = _mended(average_information(place.solution, False), before, place.phi, slope)
        step = bounded_step(place.phi, slope, bend)
        if -float(slope @ step) < _LEVEL:
            return place, tried
        before = (place.phi, slope)
        for _ in range(_HALVINGS):
            further = settled(setting, np.maximum(place.phi + step, 0.0), place)
            tried += 1
            if further.value >= place.value - _SLACK * abs(place.value):
                break
            step = 0.5 * step
        place = further
    if len(place.phi):
        raise CannotFitError("the search for the variances did not end")
    return place, tried


def settled(setting: Setting, phi: Floats, near: Place | None) -> Place:
    """Solve for the coefficients and the residual's log standard deviation at these relative variances."""
    solution = solve(setting.system, setting.parameters.factors(phi))
    told = foretold(solution, setting.others, phi)
    beta, log_sd, pull = solution.coefficients, 0.5 * math.log(solution.sum_of_squares / setting.system.rows), None
    if near is not None:
        beta, log_sd, pull = near.beta, near.log_sd, near.limits.pull
    return _climbed(setting, _place(setting, phi, solution, told, beta, log_sd, pull))


def with_one_more(setting: Setting, near: Place, columns: Sequence[int], further: Sequence[int]) -> list[Place]:
    """Solve with one more fixed column in turn, at the relative variances of a place that has the other columns.

    Parameters
    ----------
    setting : Setting
        With all the columns.
    near : Place
        Of the model with ``columns`` alone.
    columns, further : sequences of int
        Which of the setting's columns the place has, and which are added one at a time.
    """
    solution = solve(setting.system, setting.parameters.factors(near.phi))
    told = foretold(solution, setting.others, near.phi)
    found = []
    for at in further:
        kept = [*columns, at, len(setting.system.names)]
        narrow = replace(solution, G=solution.G[np.ix_(kept, kept)])
        of_columns = replace(told, forms=told.forms[:, kept])
        beta = np.append(near.beta, 0.0)
        begin = _place(setting, near.phi, narrow, of_columns, beta, near.log_sd, near.limits.pull)
        found.append(_climbed(setting, begin, _BESIDE_LEVEL))
    return found


def _climbed(setting: Setting, place: Place, level: float | None = None) -> Place:
    level, gained = _INNER_LEVEL * (1.0 + abs(place.value)) if level is None else level, 0.0
    for _ in range(_STEPS):
        slope = by_inside(place)
        bend = bend_inside(place)
        step = np.linalg.solve(bend, slope)
        if not float(slope @ step) > 0:
            step = slope / np.diagonal(bend)
        gain = float(slope @ step)
        if gain < level:
            return place
        for _ in range(_HALVINGS):
            beta, log_sd = place.beta + step[:-1], place.log_sd + float(step[-1])
            further = _place(setting, place.phi, place.solution, place.told, beta, log_sd, place.limits.pull)
            if further.value >= place.value - _SLACK * abs(place.value):
                break
            step = 0.5 * step
        place = further
        if gain * gain < level * gained:  # steps gain less and less: the next would too little
            return place
        gained = gain
    raise CannotFitError("the search for the coefficients did not end")


def placed(setting: Setting, phi: Floats, near: Place) -> Place:
    """The model at other relative variances, everything else as it is."""
    solution = solve(setting.system, setting.parameters.factors(phi))
    told = foretold(solution, setting.others, phi)
    return _place(setting, phi, solution, told, near.beta, near.log_sd, near.limits.pull)


def _place(
    setting: Setting, phi: Floats, solution: Solution, told: Foretold, beta: Floats, log_sd: float, pull: Floats | None
) -> Place:
    mean = told.forms @ np.append(beta, 1.0) + setting.offset
    variance = math.exp(2.0 * log_sd)
    limits = limit_terms(setting.family, mean, variance * told.covariance, np.array([log_sd]), pull)
    turn = np.append(-beta, 1.0)
    rows = setting.system.rows
    exact = (
        solution.log_det + rows * (math.log(2.0 * math.pi) + 2.0 * log_sd) + float(turn @ solution.G @ turn) / variance
    )
    return Place(phi, solution, told, beta, log_sd, limits, limits.value - 0.5 * exact)


def by_inside(place: Place) -> Floats:
    """The log likelihood's derivatives by β and the residual's log standard deviation, (p+1,)."""
    left = place.solution.G @ place.turn
    by_beta = left[:-1] / place.variance + place.told.forms[:, :-1].T @ place.limits.by_mean
    of_covariance = place.variance * float((place.limits.by_covariance * place.told.covariance).sum())
    of_limits = place.limits.by_own + 2.0 * of_covariance
    by_log_sd = -place.solution.system.rows + float(place.turn @ left) / place.variance + of_limits
    return np.append(by_beta, by_log_sd)


def by_phi(setting: Setting, place: Place) -> Floats:
    """The log likelihood's derivatives by the relative variances, (T,)."""
    solution, told, limits = place.solution, place.told, place.limits
    first, rest = eliminated_products(solution) @ place.turn, rest_products(solution) @ place.turn
    doubled = [2.0 * trace for trace in traces(solution)]
    spread = setting.parameters.chained(doubled, solution.factors)
    results = []
    for (is_first, rows), total, alone in zip(parts_of(setting.system), spread, setting.others.alone, strict=True):
        own = (first if is_first else rest)[rows]
        left = (told.left_first if is_first else told.left_rest)[rows]
        of_covariance = float((limits.by_covariance * (left.T @ left + alone)).sum())
        of_mean = float(limits.by_mean @ (left.T @ own))
        results.append(
            -0.5 * total + 0.5 * float(own @ own) / place.variance + of_mean + place.variance * of_covariance
        )
    return np.array(results)


def parts_of(system: System) -> list[tuple[bool, Ints]]:
    """For each part, whether it is of the eliminated block, and its rows there or among the rest's."""
    found = []
    for k, block in enumerate(system.blocks):
        is_first = k == 0 and system.eliminated is not None
        rows = np.arange(block.levels * block.width).reshape(block.levels, block.width)
        base = 0 if is_first else block.start
        found += [(is_first, base + rows[:, part.start : part.stop].ravel()) for part in block.parts]
    return found


def bend_inside(place: Place) -> Floats:
    """Minus the second derivatives by β and log σ, but for what the limits' third derivatives add."""
    variance, forms, limits = place.variance, place.told.forms[:, :-1], place.limits
    left = place.solution.G @ place.turn
    pull_by_log_sd = limits.pull_by_own - 2.0 * variance * limits.bend @ (place.told.covariance @ limits.pull)
    size = len(place.beta)
    bend = np.empty((size + 1, size + 1))
    bend[:size, :size] = place.solution.G[:-1, :-1] / variance + forms.T @ limits.bend @ forms
    bend[:size, size] = bend[size, :size] = 2.0 * left[:-1] / variance - forms.T @ pull_by_log_sd
    bend[size, size] = 2.0 * float(place.turn @ left) / variance
    return bend


def _mended(bend: Floats, before: tuple[Floats, Floats] | None, phi: Floats, slope: Floats) -> Floats:
    """The average information of the exact rows, mended by how the slope changed in the last step.

    Not where it foretold that badly, unless the step went too far: then it was too flat.
    """
    if before is None:
        return bend
    moved, changed = phi - before[0], slope - before[1]
    scale = np.sqrt(np.maximum(np.diagonal(bend), 1e-300))
    missed = np.linalg.norm((changed - bend @ moved) / scale)
    if float(slope @ moved) <= 0 and missed > _FORETOLD * np.linalg.norm(changed / scale):
        return bend
    return mended(bend, moved, changed)
