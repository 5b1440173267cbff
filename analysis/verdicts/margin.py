"""What is the smallest difference that matters, and who said so?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType

__all__ = ["WORKING_MARGINS", "Margin", "MarginAtLevel", "strictest", "working_margin"]

WORKING_DEFAULT = "working default"


@dataclass(frozen=True)
class Margin:
    """The smallest difference that a brewery calls a difference.

    ``value`` is in ``unit``: the measure's kept unit, or ``"%"`` of the recipe's own level. ``set_by`` and ``set_at``
    say who set it and when; a working default says that it is one. ``recipe`` is None where it holds for all.
    """

    value: float
    unit: str
    set_by: str
    set_at: datetime | None = None
    recipe: str | None = None
    is_default: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.value > 0):
            raise ValueError(f"Margin: value must be a positive number, got {self.value}")


@dataclass(frozen=True)
class MarginAtLevel:
    """A margin as the model needs it.

    ``absolute`` is in the measure's kept unit at ``level``; ``below`` and ``above`` are the margin's two ends on the
    model's scale: differences of logs where ``log`` is true, else differences in the kept unit. ``lost`` is the share
    of an effect that cannot be seen: to be called small it has to stay that much further ``inside``.
    """

    margin: Margin
    level: float
    absolute: float
    log: bool
    lost: float = 0.0

    @property
    def above(self) -> float:
        """The upper end on the model's scale, positive."""
        return self._end(self.absolute)

    @property
    def below(self) -> float:
        """The lower end on the model's scale, negative; minus infinity where the margin reaches the level itself."""
        return self._end(-self.absolute)

    @property
    def inside(self) -> tuple[float, float]:
        """The two ends that an effect has to stay between to be called small, on the model's scale."""
        smaller = self.absolute * (1.0 - self.lost)
        return self._end(-smaller), self._end(smaller)

    def less(self, lost: float) -> MarginAtLevel:
        """Return the margin for an effect that looks smaller than it is by the share ``lost``, 0 to below 1.

        Raises
        ------
        ValueError
            If ``lost`` is outside that range.
        """
        if not 0 <= lost < 1:
            raise ValueError(f"MarginAtLevel.less: lost must be 0 to below 1, got {lost}")
        return replace(self, lost=lost)

    def _end(self, value: float) -> float:
        if not self.log:
            return value
        return math.log1p(value / self.level) if value > -self.level else -math.inf

    @classmethod
    def at(cls, margin: Margin, level: float, *, log: bool) -> MarginAtLevel:
        """Return the margin at a level.

        Parameters
        ----------
        margin : Margin
        level : float
            The recipe's typical value [the measure's kept unit], positive where ``log`` is true or the margin is in %.
        log : bool
            Whether the model works on logs.

        Raises
        ------
        ValueError
            If a level is needed and not positive.
        """
        if (log or margin.unit == "%") and not level > 0:
            raise ValueError(f"MarginAtLevel.at: level must be positive here, got {level}")
        absolute = margin.value / 100 * level if margin.unit == "%" else margin.value
        return cls(margin, level, absolute, log)


# Common practice, no source: a starting point that the page marks as a default until a person sets a margin.
WORKING_MARGINS: Mapping[str, tuple[float, str]] = MappingProxyType(
    {
        "dissolved_oxygen": (20.0, "%"),
        "headspace_oxygen": (20.0, "%"),
        "total_oxygen": (20.0, "%"),
        "haze": (20.0, "%"),
        "haze_forward": (20.0, "%"),
        "chill_haze": (0.25, "EBC"),
        "temperature": (1.0, "°C"),
        "carbon_dioxide": (0.15, "g/L"),
        "ph": (0.05, ""),
        "yeast_count": (50.0, "%"),
    }
)
_TASTING_MARGIN = (0.5, "points")


def working_margin(measure: str) -> Margin:
    """Return the working default for a measure; an attribute that a panel scores gets half a point."""
    value, unit = WORKING_MARGINS.get(measure, _TASTING_MARGIN)
    return Margin(value, unit, WORKING_DEFAULT, is_default=True)


def strictest(margins: Iterable[MarginAtLevel]) -> MarginAtLevel:
    """Return the margin that is hardest to stay inside on the model's scale.

    A verdict over several recipes must hold for each of them, so the tightest of their margins judges it.

    Raises
    ------
    ValueError
        If there is none.
    """
    found = sorted(margins, key=lambda m: m.above)
    if not found:
        raise ValueError("strictest: margins must hold at least one, got none")
    return found[0]
