"""At which variances is a model's deviance least?

Where every random term has one column, Newton steps with the average information (Gilmour, Thompson & Cullis 1995,
Biometrics 51, 1440–1450), each kept to φ ≥ 0 and halved until the deviance falls. What they leave, and correlated
slopes, are for L-BFGS-B.

A step is bent so that it ends where it should in a balanced design of one factor, from wherever it starts. With n rows
a level and the residual variance known, the deviance is log(1 + nφ) + s/(1 + nφ) for each level, least at 1 + nφ = s:
the step in φ that the average information gives leads from a = 1 + nφ to 2a − a²/s, the same in −1/(1/n + φ) to s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from analysis.models.arrays import Floats
from analysis.models.criterion import Solution, solve
from analysis.models.curvature import average_information
from analysis.models.gradient import gradient
from analysis.models.parameters import Parameters
from analysis.models.system import System

__all__ = ["Found", "bounded_step", "mended", "quasi_newton", "search"]

_STEPS = 40
_HALVINGS = 20
_LEVEL = 1e-10  # the deviance that a full step would still gain
_ROUNDING = 1e-15  # share of the deviance that it is not exact to
_NEAR = 1e-3
_CLOSE = 0.1  # the deviance gained last from which steps are short enough for the curvature to be learnt from them
_SLOW = 0.03  # share of what the last step gained that the next should not come to
_FLATTEST = 0.05  # share of the average information that a mended one keeps in every direction
_SLACK = 1e-12
_FARTHEST = 0.75  # share of 1/(1/n + φ) that a step may take away: φ grows four times at most
_LEAST_ROWS = 1e-12  # so that a column of nothing can be divided by
_LARGE = 200  # columns of the rest from which a step's matrices are worth overwriting


@dataclass(frozen=True)
class Found:
    """The best solution, whether the search ended where it should, and how often the deviance was evaluated."""

    solution: Solution
    converged: bool
    evaluations: int


def search(system: System, begin: Floats, reml: bool) -> Found:
    """Minimise the deviance from ``begin``, in the numbers of ``Parameters``."""
    parameters = Parameters(system.blocks)
    if not len(begin):
        return Found(solve(system, ()), True, 1)
    if not all(part.tied for block in system.blocks for part in block.parts):
        return quasi_newton(system, begin, reml)
    vector, ended, evaluations = _newton(system, parameters, begin, reml)
    if ended is None:
        return quasi_newton(system, vector, reml, evaluations)
    return Found(ended, True, evaluations)


def quasi_newton(system: System, begin: Floats, reml: bool, before: int = 0) -> Found:
    """Minimise the deviance by L-BFGS-B, after ``before`` evaluations by another way."""
    parameters = Parameters(system.blocks)

    def criterion(vector: Floats) -> tuple[float, Floats]:
        factors = parameters.factors(vector)
        solution = solve(system, factors)
        return solution.deviance(reml), parameters.chained(gradient(solution, reml), factors)

    options = {"ftol": 1e-15, "gtol": 1e-7, "maxiter": 1000, "maxcor": 20}
    found: scipy.optimize.OptimizeResult = scipy.optimize.minimize(  # type: ignore[call-overload]  # the stubs miss bounds open on one side
        criterion, begin, jac=True, method="L-BFGS-B", bounds=parameters.bounds, options=options
    )
    return Found(solve(system, parameters.factors(found.x)), bool(found.success), before + int(found.nfev))


def _spends(system: System) -> bool:
    """Whether the matrices are so large that a step overwrites those of its solution."""
    return len(system.HD) > _LARGE


def _newton(system: System, parameters: Parameters, begin: Floats, reml: bool) -> tuple[Floats, Solution | None, int]:
    """Where the steps end, the solution there if they ended where they should, and how many were tried."""
    at, evaluations, gained = begin, 1, 0.0
    rows = _rows_of_levels(system)
    before: tuple[Floats, Floats] | None = None
    factors = parameters.factors(at)
    solution = solve(system, factors)
    deviance = solution.deviance(reml)
    for _ in range(_STEPS):
        bend = average_information(solution, reml)
        slope = parameters.chained(gradient(solution, reml, spend=_spends(system)), factors)
        step, level = bounded_step(at, slope, bend, rows), max(_LEVEL, _ROUNDING * abs(deviance))
        if before is not None and gained < _CLOSE and -float(slope @ step) > _SLOW * gained:
            step = bounded_step(at, slope, mended(bend, at - before[0], slope - before[1]), rows)
        gain, before = -float(slope @ step), (at, slope)
        if gain < level:
            return at, solve(system, factors) if _spends(system) else solution, evaluations
        for _ in range(_HALVINGS):
            del solution  # its matrices are as large as those of the next
            tried = _tried(at, step, rows)
            factors = parameters.factors(tried)
            solution = solve(system, factors)
            evaluations += 1
            if solution.deviance(reml) <= deviance + _SLACK * abs(deviance):
                break
            step = 0.5 * step
        else:
            return at, None, evaluations
        at, deviance = tried, solution.deviance(reml)
        if gain < _NEAR and gain * gain < 0.5 * level * gained:  # steps gain less and less: the next would too little
            return at, solution, evaluations
        gained = gain
    return at, None, evaluations


def _rows_of_levels(system: System) -> Floats:
    """The mean z'z of each part's columns (T,): of a random intercept, the rows of a level."""
    found = []
    for block in system.blocks:
        lengths = system.lengths(block)
        for part in block.parts:
            own = lengths[:, part.start : part.stop]
            found.append(own.sum() / max(np.count_nonzero(own), 1))
    return np.maximum(found, _LEAST_ROWS)


def _bent(at: Floats, step: Floats, rows: Floats) -> Floats:
    """Where a step leads that is taken in −1/(1/n + φ), below 0 too."""
    reach = 1.0 / rows + at
    return np.asarray(reach / (1.0 - np.minimum(step / reach, _FARTHEST)) - 1.0 / rows)


def _tried(at: Floats, step: Floats, rows: Floats) -> Floats:
    """The same with every φ ≥ 0, those exactly at 0 that were meant to be."""
    return np.where(at + step == 0, 0.0, np.maximum(_bent(at, step, rows), 0.0))


def bounded_step(at: Floats, slope: Floats, curvature: Floats, rows: Floats | None = None) -> Floats:
    """The step to the least of the local parabola with every φ ≥ 0: those at 0 that would fall stay there.

    Parameters
    ----------
    rows : array, shape (T,)
        The rows of a level, where the step is taken in −1/(1/n + φ), which seldom leads below 0.
    """
    scale = np.maximum(at, 1e-4)  # relative steps, so that a variance of 0.01 is not lost beside one of 100
    curvature = curvature * np.outer(scale, scale)
    curvature += np.diag(1e-8 * np.diagonal(curvature) + 1e-300)
    pull = slope * scale
    free = ~((at <= 0) & (slope > 0))
    step = np.zeros_like(at)
    for _ in range(len(at) + 1):
        step[:] = 0.0
        held = ~free
        step[held] = np.where(at[held] > 0, -at[held] / scale[held], 0.0)
        if free.any():
            right = -(pull[free] + curvature[np.ix_(free, held)] @ step[held])
            step[free] = np.linalg.lstsq(curvature[np.ix_(free, free)], right, rcond=None)[0]
        led = at + step * scale if rows is None else _bent(at, step * scale, rows)
        below = free & (led < 0)
        if not below.any():
            break
        free &= ~below
    return np.where(free, step * scale, -at)


def mended(bend: Floats, moved: Floats, changed: Floats) -> Floats:
    """A second derivative (T, T) mended by a rank of one, so that it tells how the slope changed in the last step; as
    it was where that would not leave it above 0."""
    missed = changed - bend @ moved
    size = float(missed @ moved)
    if not size:
        return bend
    scale = np.sqrt(np.maximum(np.diagonal(bend), 1e-300))
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):  # a step of next to nothing tells nothing
        better = bend + np.outer(missed, missed) / size
        relative = better / np.outer(scale, scale)
    if not np.isfinite(relative).all():
        return bend
    return better if np.linalg.eigvalsh(relative).min() > _FLATTEST else bend
