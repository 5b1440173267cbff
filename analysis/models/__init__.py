"""What does a measure depend on, and how sure is that?"""

from analysis.models.arrays import CannotFitError
from analysis.models.contrasts import Contrast, JointTest, contrast, joint_test
from analysis.models.cross_products import CrossProducts, accumulate
from analysis.models.formula import quoted
from analysis.models.mixed import Group, MixedFit, Variance, fit_sums, mixed

__all__ = [
    "CannotFitError",
    "Contrast",
    "CrossProducts",
    "Group",
    "JointTest",
    "MixedFit",
    "Variance",
    "accumulate",
    "contrast",
    "fit_sums",
    "joint_test",
    "mixed",
    "quoted",
]
