"""What does a measure depend on, and how sure is that?"""

from analysis.models.adjusted_means import AdjustedMean, Difference, adjusted_means, differences
from analysis.models.arrays import CannotFitError
from analysis.models.conditional import LevelEffects, RowFit, level_effects, row_fit
from analysis.models.contrasts import Contrast, JointTest, contrast, joint_test
from analysis.models.cross_products import CrossProducts, accumulate
from analysis.models.formula import quoted
from analysis.models.influence import Influence, leave_one_out
from analysis.models.mixed import Group, MixedFit, Variance, fit_sums, mixed
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
    "LevelEffects",
    "MixedFit",
    "NormalityCheck",
    "RowFit",
    "ScaleChoice",
    "SpreadCheck",
    "Variance",
    "accumulate",
    "adjusted_means",
    "choose_scale",
    "contrast",
    "differences",
    "fit_sums",
    "joint_test",
    "leave_one_out",
    "level_effects",
    "mixed",
    "normality",
    "quoted",
    "row_fit",
    "spread_against_level",
]
