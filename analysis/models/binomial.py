"""How often does it happen, and what moves that?

The binomial mixed model with the logit link: defects, failed packs, correct answers.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.arrays import CannotFitError
from analysis.models.families import BetaBinomial, Binomial
from analysis.models.laplace_fit import LaplaceFit, fit_family, prepared

__all__ = ["binomial_mixed"]


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
        If all rows succeed or none does.
    """
    used = frame if trials is None else frame.dropna(subset=[trials])
    data = prepared(formula, used)
    successes = data.rows.dense[:, -1]
    tried = np.ones_like(successes) if trials is None else used.loc[data.rows.kept, trials].to_numpy(dtype=np.float64)
    if (successes < 0).any() or (successes > tried).any() or (successes != np.round(successes)).any():
        raise ValueError("binomial_mixed: successes must be whole numbers from 0 to the trials")
    if successes.sum() in (0.0, tried.sum()):
        raise CannotFitError("every row came out the same way, so that nothing can be seen to move it")
    if varying and tried.max() <= 1:
        raise ValueError("varying wants rows of more than one trial")
    if varying:
        return fit_family(data, BetaBinomial(successes, tried), "beta-binomial", ("log kappa",))[0]
    return fit_family(data, Binomial(successes, tried), "binomial", ())[0]
