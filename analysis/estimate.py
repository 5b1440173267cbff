"""How large is it, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Estimate"]


@dataclass(frozen=True)
class Estimate:
    """A value with its interval.

    ``low`` and ``high`` bound the two-sided interval at ``level``; ``standard_error`` and ``degrees_of_freedom`` are
    NaN where the interval was not made from them. All but ``degrees_of_freedom`` and ``level`` are in ``unit``.
    """

    value: float
    low: float
    high: float
    unit: str
    standard_error: float = float("nan")
    degrees_of_freedom: float = float("nan")
    level: float = 0.95

    def __post_init__(self) -> None:
        if not 0 < self.level < 1:
            raise ValueError(f"Estimate: level must lie between 0 and 1, got {self.level}")
        if self.low > self.high:
            raise ValueError(f"Estimate: low must not exceed high, got {self.low} and {self.high}")
