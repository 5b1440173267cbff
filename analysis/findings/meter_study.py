"""How much of what is read differs because of the meters and not because of the beer?

A crossed study: the same packs, each read several times on each meter. The analysis of variance splits the variation
into packs, meters, packs that the meters disagree about, and repeats.

Source: the random two-way analysis of variance with its expected mean squares, as in R. M. Houf and D. B. Berman 1988,
IEEE Trans. Components Hybrids Manuf. Technol. 11, 516–522 (read second-hand); the limits are 1.96·√2 standard
deviations, as ISO 5725-6 defines them (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution

__all__ = ["Study", "Sums", "crossed", "crossed_from_sums"]

_LIMIT = 1.96 * math.sqrt(2)
_FEWEST = 2


@dataclass(frozen=True)
class Sums:
    """Sums of squares of a balanced crossed study and its size."""

    part: float
    meter: float
    part_meter: float
    repeat: float
    parts: int
    meters: int
    repeats: int


@dataclass(frozen=True)
class Study:
    """The variances of a crossed study [unit of the readings squared].

    ``part_meter`` is how far the meters disagree from pack to pack. A variance that the mean squares put below zero is
    0. ``meters_differ`` is the p-value of no difference between the meters.
    """

    part: float
    meter: float
    part_meter: float
    repeat: float
    meters_differ: float
    sums: Sums

    @property
    def repeatability(self) -> float:
        """Standard deviation of repeated readings of one pack on one meter."""
        return math.sqrt(self.repeat)

    @property
    def reproducibility(self) -> float:
        """Standard deviation of readings of one pack on any of the meters, repeats included."""
        return math.sqrt(self.repeat + self.meter + self.part_meter)

    @property
    def total(self) -> float:
        """Standard deviation of single readings over packs, meters and repeats."""
        return math.sqrt(self.part + self.repeat + self.meter + self.part_meter)

    @property
    def share_of_spread(self) -> float:
        """Repeatability and reproducibility over the total, both standard deviations [1]; NaN where all is alike."""
        return self.reproducibility / self.total if self.total > 0 else math.nan

    @property
    def share_of_variance(self) -> float:
        """The meters' and repeats' part of the variance [1]; NaN where all is alike."""
        return self.share_of_spread**2

    @property
    def categories(self) -> float:
        """How many distinct groups of packs the readings can tell apart; infinite where repeats are all alike."""
        return math.sqrt(2 * self.part) / self.reproducibility if self.reproducibility > 0 else math.inf

    @property
    def repeatability_limit(self) -> float:
        """What two single readings on one meter differ by in one of twenty pairs, with no difference in the beer."""
        return _LIMIT * self.repeatability

    @property
    def reproducibility_limit(self) -> float:
        """The same for two readings on any of the meters."""
        return _LIMIT * self.reproducibility


def crossed(readings: NDArray[np.float64]) -> Study:
    """Return the variances of a balanced crossed study.

    Parameters
    ----------
    readings : array, shape (parts, meters, repeats)
        On the scale on which the spread is even.

    Raises
    ------
    ValueError
        If there are not at least two of each, or a reading is missing.
    """
    if readings.ndim != 3 or min(readings.shape) < _FEWEST:
        raise ValueError(f"crossed: readings must have two parts, meters and repeats at least, got {readings.shape}")
    if not np.isfinite(readings).all():
        raise ValueError("crossed: readings must not hold a missing value")
    parts, meters, repeats = readings.shape
    middle = readings.mean()
    cells = readings.mean(axis=2)
    by_part, by_meter = cells.mean(axis=1) - middle, cells.mean(axis=0) - middle
    disagreement = cells - middle - by_part[:, None] - by_meter[None, :]
    return crossed_from_sums(
        Sums(
            part=meters * repeats * float(by_part @ by_part),
            meter=parts * repeats * float(by_meter @ by_meter),
            part_meter=repeats * float(np.square(disagreement).sum()),
            repeat=float(np.square(readings - cells[:, :, None]).sum()),
            parts=parts,
            meters=meters,
            repeats=repeats,
        )
    )


def crossed_from_sums(sums: Sums) -> Study:
    """Return the variances of a balanced crossed study from its sums of squares."""
    p, m, r = sums.parts, sums.meters, sums.repeats
    part, meter = sums.part / (p - 1), sums.meter / (m - 1)
    both, repeat = sums.part_meter / ((p - 1) * (m - 1)), sums.repeat / (p * m * (r - 1))
    ratio = meter / both if both > 0 else math.inf
    return Study(
        part=max(0.0, (part - both) / (m * r)),
        meter=max(0.0, (meter - both) / (p * r)),
        part_meter=max(0.0, (both - repeat) / r),
        repeat=repeat,
        meters_differ=float(f_distribution.sf(ratio, m - 1, (p - 1) * (m - 1))),
        sums=sums,
    )
