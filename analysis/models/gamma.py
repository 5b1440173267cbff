"""What moves a positive measure whose spread grows with its level, read on its own scale?

The gamma mixed model with the log link: effects are ratios of means, where those of a log-normal are ratios of medians.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.families import Gamma
from analysis.models.laplace_fit import LaplaceFit, fit_family, prepared

__all__ = ["gamma_mixed", "pearson_dispersion"]


def gamma_mixed(formula: str, frame: pd.DataFrame) -> LaplaceFit:
    """Fit a gamma mixed model; ``own`` holds the log of the shape, 1 / dispersion.

    Raises
    ------
    ValueError
        If a response is not above 0; else as ``mixed`` does.
    """
    data = prepared(formula, frame)
    values = data.rows.dense[:, -1]
    if (values <= 0).any():
        raise ValueError(f"gamma_mixed: the response must be above 0, got {int((values <= 0).sum())} that are not")
    return fit_family(data, Gamma(values), "gamma", ("log shape",))[0]


def pearson_dispersion(fit: LaplaceFit, values: np.ndarray) -> float:
    """Σ((y − μ)/μ)² / (n − p), the moment estimate of the dispersion of a fit without random terms.

    Source: McCullagh & Nelder 1989, Generalized Linear Models, 2nd edition, section 8.3.6.
    """
    mean = np.exp(fit.linear_predictor)
    return float((((values - mean) / mean) ** 2).sum() / (fit.rows - len(fit.names)))
