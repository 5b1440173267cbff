"""What does a measure depend on, and how sure is that?"""

from analysis.models.arrays import CannotFitError
from analysis.models.cross_products import CrossProducts, accumulate
from analysis.models.formula import quoted
from analysis.models.mixed import Group, MixedFit, Variance, fit_sums, mixed

__all__ = [
    "CannotFitError",
    "CrossProducts",
    "Group",
    "MixedFit",
    "Variance",
    "accumulate",
    "fit_sums",
    "mixed",
    "quoted",
]
