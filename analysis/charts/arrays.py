"""Which arrays do the charts take, and what must hold of them?"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BoolArray",
    "FloatArray",
    "IntArray",
    "Scale",
    "as_flags",
    "as_phases",
    "as_series",
    "check_scale",
    "from_scale",
    "to_scale",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Scale = Literal["log", "linear"]

SCALES: tuple[Scale, ...] = ("log", "linear")


def as_series(values: ArrayLike, name: str = "values") -> FloatArray:
    """Return one number a run, shape (n,), NaN where a run is missing.

    Raises
    ------
    ValueError
        If the array does not have one dimension, or holds an infinite value.
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        raise ValueError(f"{name} must have one dimension, got {series.ndim}")
    if np.isinf(series).any():
        raise ValueError(f"{name} must be finite or missing (NaN), got an infinite value")
    return series


def as_flags(flags: ArrayLike | None, n: int, name: str, default: bool = True) -> BoolArray:
    """Return one yes or no a run, shape (n,); all ``default`` where nothing was given."""
    if flags is None:
        return np.full(n, default)
    array: NDArray[Any] = np.asarray(flags)
    if array.dtype != np.bool_ or array.shape != (n,):
        raise ValueError(f"{name} must be {n} true or false values, got shape {array.shape} of {array.dtype}")
    return array


def as_phases(phases: ArrayLike | None, n: int) -> IntArray:
    """Return the phase number of each run, shape (n,), never falling; all 0 where nothing was given."""
    if phases is None:
        return np.zeros(n, dtype=np.int64)
    array = np.asarray(phases, dtype=np.int64)
    if array.shape != (n,) or (np.diff(array) < 0).any():
        raise ValueError(f"phases must be {n} numbers that never fall, got shape {array.shape}")
    return array


def check_scale(scale: str) -> None:
    """Raise ``ValueError`` where ``scale`` is neither ``"log"`` nor ``"linear"``."""
    if scale not in SCALES:
        raise ValueError(f"scale must be one of {', '.join(SCALES)}, got {scale!r}")


def to_scale(series: FloatArray, scale: Scale) -> FloatArray:
    """Return the values as they are charted: their natural logs on the log scale.

    Raises
    ------
    ValueError
        If a value on the log scale is not above zero: a reading below a meter's limit is censored, not zero.
    """
    check_scale(scale)
    if scale == "linear":
        return series
    if (series <= 0).any():
        raise ValueError(f"values must be above 0 on the log scale, got {np.nanmin(series):g}")
    return np.log(series)


def from_scale(charted: FloatArray, scale: Scale) -> FloatArray:
    """Return charted values in the measure's own unit."""
    return np.exp(charted) if scale == "log" else charted
