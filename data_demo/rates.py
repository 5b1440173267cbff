"""How often did it happen, and between which bounds does that rate lie?"""

from __future__ import annotations

from dataclasses import dataclass

from scipy import stats

__all__ = ["Rate"]


@dataclass(frozen=True)
class Rate:
    """So many of so many.

    ``lower`` and ``upper`` bound the exact 95 % interval. Source: Clopper & Pearson 1934, Biometrika 26, 404–413.
    """

    hits: int
    of: int

    @property
    def share(self) -> float:
        """The rate itself, from 0 to 1."""
        return self.hits / self.of

    @property
    def lower(self) -> float:
        """The lower bound."""
        return float(stats.beta.ppf(0.025, self.hits, self.of - self.hits + 1)) if self.hits else 0.0

    @property
    def upper(self) -> float:
        """The upper bound."""
        return float(stats.beta.ppf(0.975, self.hits + 1, self.of - self.hits)) if self.hits < self.of else 1.0

    def __str__(self) -> str:
        return f"{self.hits:,} of {self.of:,} ({self.share:.2%}, 95 % {self.lower:.2%} to {self.upper:.2%})"
