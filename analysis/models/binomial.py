"""How often does it happen, and what moves that?

The binomial mixed model with the logit link: defects, failed packs, correct answers.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import scipy

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.design import CONSTANT
from analysis.models.families import BetaBinomial, Binomial
from analysis.models.laplace_fit import LaplaceFit, Prepared, fit_family, prepared

__all__ = ["binomial_mixed"]

_APART = 1e-6


def binomial_mixed(
    formula: str, frame: pd.DataFrame, *, trials: str | None = None, varying: bool = False
) -> LaplaceFit:
    """Fit a binomial mixed model.

    Parameters
    ----------
    formula : str
        Its response counts successes; without ``trials`` it is 0 or 1.
    trials : str, optional
        The column of the numbers tried; a row that lacks it is left out.
    varying : bool
        Let each row's probability vary about its mean p (beta-binomial), with variance p (1 − p) / (κ + 1); ``own``
        then holds log κ. Wants more than one trial a row.

    Raises
    ------
    ValueError
        If successes are not whole numbers from 0 to the trials.
    CannotFitError
        If all rows succeed or none does, or columns tell the two apart so well that no finite effect is most likely.
    """
    used = frame if trials is None else frame.dropna(subset=[trials])
    data = prepared(formula, used)
    successes = data.rows.dense[:, -1]
    tried = np.ones_like(successes) if trials is None else used.loc[data.rows.kept, trials].to_numpy(dtype=np.float64)
    if (successes < 0).any() or (successes > tried).any() or (successes != np.round(successes)).any():
        raise ValueError("binomial_mixed: successes must be whole numbers from 0 to the trials")
    if successes.sum() in (0.0, tried.sum()):
        raise CannotFitError("every row came out the same way, so that nothing can be seen to move it")
    if parting := _parting_columns(data, successes, tried):
        raise CannotFitError(
            f"some rows' outcome follows from {' and '.join(parting)} without fail, so that the effect has no most "
            "likely size: leave that out, or join a level of one outcome to another"
        )
    if varying and tried.max() <= 1:
        raise ValueError("varying wants rows of more than one trial")
    if varying:
        return fit_family(data, BetaBinomial(successes, tried), "beta-binomial", ("log kappa",))[0]
    return fit_family(data, Binomial(successes, tried), "binomial", ())[0]


def _parting_columns(data: Prepared, successes: Floats, tried: Floats) -> list[str]:
    """The columns of which some combination never points away from a row's outcome, and toward some rows'.

    Along it the likelihood rises without end. Source: Albert & Anderson 1984, Biometrika 71, 1–10, for separation and
    quasi-separation; Konis 2007 for finding them by a linear programme (both from memory).
    """
    toward = np.where(successes == tried, 1.0, -1.0)
    decided = (successes == 0) | (successes == tried)
    signed = toward[:, None] * data.X
    limits = {"A_ub": -signed[decided], "b_ub": np.zeros(int(decided.sum()))}
    if not decided.all():
        limits |= {"A_eq": data.X[~decided], "b_eq": np.zeros(int((~decided).sum()))}
    found = scipy.optimize.linprog(-signed[decided].sum(axis=0), bounds=(-1.0, 1.0), **limits)
    if found.status != 0 or -found.fun <= _APART:
        return []
    return [name for name, weight in zip(data.names, found.x, strict=True) if abs(weight) > _APART and name != CONSTANT]
