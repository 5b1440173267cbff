"""What is a haze called, and is it in the band that the beer is meant to have?

Source of the classes: a national laboratory's teaching slides (read in excerpt), stated in EBC and ASBC formazin units;
the NTU column follows from 1 EBC = 4 NTU. Read as from the lower limit up to, not including, the upper one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ASBC_FTU_PER_EBC", "CLASSES", "NTU_PER_EBC", "HazeClass", "against_band", "haze_class"]

NTU_PER_EBC = 4.0
"""EBC Analytica 9.29 and ISO 7027-1:2016: NTU and FNU agree numerically."""

ASBC_FTU_PER_EBC = 69.0
"""ASBC Beer-26."""


@dataclass(frozen=True)
class HazeClass:
    """A class from ``lower`` up to, not including, ``upper`` [EBC, at 90°]."""

    name: str
    lower: float
    upper: float


CLASSES = (
    HazeClass("brilliant", 0.0, 0.5),
    HazeClass("almost brilliant", 0.5, 1.0),
    HazeClass("very slightly hazy", 1.0, 2.0),
    HazeClass("slightly hazy", 2.0, 4.0),
    HazeClass("hazy", 4.0, 8.0),
    HazeClass("very hazy", 8.0, float("inf")),
)


def haze_class(haze: float) -> HazeClass | None:
    """Return the class of a haze at 90° [EBC]; None where it is missing or below 0.

    A haze at a forward angle has no class: it is another quantity.
    """
    return next((each for each in CLASSES if each.lower <= haze < each.upper), None)


def against_band(haze: ArrayLike, lower: float | None, upper: float | None) -> NDArray[np.int8]:
    """Return where a haze lies against its target, shape (n,): −1 below the band, 0 in it, 1 above it.

    Parameters
    ----------
    haze : array_like, shape (n,)
        [EBC]; a missing haze counts as in the band: the caller leaves it out.
    lower, upper : float or None
        The band's ends [EBC], both in it; None where there is none. Beer that is meant to be hazy has both.

    Raises
    ------
    ValueError
        If ``lower`` exceeds ``upper``.
    """
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"against_band: lower must not exceed upper, got {lower} and {upper}")
    read = np.asarray(haze, dtype=np.float64)
    above = read > (np.inf if upper is None else upper)
    below = read < (-np.inf if lower is None else lower)
    return np.asarray(above.astype(np.int8) - below.astype(np.int8), dtype=np.int8)
