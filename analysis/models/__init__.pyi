"""The public face of the room, each name loaded when it is first asked for."""

from . import frame_rows as frame_rows  # not public: the room's own door to pandas and formulaic
from .adding_up import accumulate
from .adjusted_means import AdjustedMean, Difference, adjusted_means, differences
from .arrays import CannotFitError
from .binomial import binomial_mixed
from .censored import (
    CensoredRows,
    censored_mixed,
    censored_rows,
    fit_censored_rows,
    one_censored_at_a_time,
)
from .conditional import LevelEffects, RowFit, level_effects, row_fit
from .contrasts import Contrast, JointTest, contrast, joint_test
from .cross_products import CrossProducts
from .fitted_rows import FittedRows, fit_read, fit_with, fitted_rows, read_rows
from .formula import quoted
from .gamma import gamma_mixed, pearson_dispersion
from .influence import Influence, leave_one_out
from .laplace_fit import LaplaceFit
from .mixed import Group, MixedFit, Variance, fit_sums, mixed
from .ordinal import ordinal_mixed
from .power import (
    BatchesNeeded,
    batches_needed,
    difference_power,
    equivalence_power,
    parallel_groups,
    upper_variance_factor,
)
from .residual_checks import (
    NormalityCheck,
    ScaleChoice,
    SpreadCheck,
    choose_scale,
    normality,
    spread_against_level,
)
from .robust import RobustFit, cluster_robust_covariance, robust
from .series import SeriesFit, compared, interrupted
from .splines import CurvePoint, Spline, curve, knots_for, nonlinearity, restricted_cubic_basis

__all__ = [
    "AdjustedMean",
    "BatchesNeeded",
    "CannotFitError",
    "CensoredRows",
    "Contrast",
    "CrossProducts",
    "CurvePoint",
    "Difference",
    "FittedRows",
    "Group",
    "Influence",
    "JointTest",
    "LaplaceFit",
    "LevelEffects",
    "MixedFit",
    "NormalityCheck",
    "RobustFit",
    "RowFit",
    "ScaleChoice",
    "SeriesFit",
    "Spline",
    "SpreadCheck",
    "Variance",
    "accumulate",
    "adjusted_means",
    "batches_needed",
    "binomial_mixed",
    "censored_mixed",
    "censored_rows",
    "choose_scale",
    "cluster_robust_covariance",
    "compared",
    "contrast",
    "curve",
    "difference_power",
    "differences",
    "equivalence_power",
    "fit_censored_rows",
    "fit_read",
    "fit_sums",
    "fit_with",
    "fitted_rows",
    "gamma_mixed",
    "interrupted",
    "joint_test",
    "knots_for",
    "leave_one_out",
    "level_effects",
    "mixed",
    "nonlinearity",
    "normality",
    "one_censored_at_a_time",
    "ordinal_mixed",
    "parallel_groups",
    "pearson_dispersion",
    "quoted",
    "read_rows",
    "restricted_cubic_basis",
    "robust",
    "row_fit",
    "spread_against_level",
    "upper_variance_factor",
]
