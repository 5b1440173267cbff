"""What does a measure depend on, and how sure is that?"""

from analysis.models.adjusted_means import AdjustedMean, Difference, adjusted_means, differences
from analysis.models.arrays import CannotFitError
from analysis.models.binomial import binomial_mixed
from analysis.models.censored import censored_mixed
from analysis.models.conditional import LevelEffects, RowFit, level_effects, row_fit
from analysis.models.contrasts import Contrast, JointTest, contrast, joint_test
from analysis.models.cross_products import CrossProducts, accumulate
from analysis.models.formula import quoted
from analysis.models.gamma import gamma_mixed, pearson_dispersion
from analysis.models.influence import Influence, leave_one_out
from analysis.models.laplace_fit import LaplaceFit
from analysis.models.mixed import Group, MixedFit, Variance, fit_sums, mixed
from analysis.models.ordinal import ordinal_mixed
from analysis.models.residual_checks import (
    NormalityCheck,
    ScaleChoice,
    SpreadCheck,
    choose_scale,
    normality,
    spread_against_level,
)

__all__ = [
    "AdjustedMean",
    "CannotFitError",
    "Contrast",
    "CrossProducts",
    "Difference",
    "Group",
    "Influence",
    "JointTest",
    "LaplaceFit",
    "LevelEffects",
    "MixedFit",
    "NormalityCheck",
    "RowFit",
    "ScaleChoice",
    "SpreadCheck",
    "Variance",
    "accumulate",
    "adjusted_means",
    "binomial_mixed",
    "censored_mixed",
    "choose_scale",
    "contrast",
    "differences",
    "fit_sums",
    "gamma_mixed",
    "joint_test",
    "leave_one_out",
    "level_effects",
    "mixed",
    "normality",
    "ordinal_mixed",
    "pearson_dispersion",
    "quoted",
    "row_fit",
    "spread_against_level",
]
