"""What is one effect on the model's scale?"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Slope"]


@dataclass(frozen=True)
class Slope:
    """The effect of one step on the model's scale, its standard error and its degrees of freedom."""

    estimate: float
    standard_error: float
    df: float
