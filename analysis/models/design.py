"""Which columns and levels does a formula make of a source's rows?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import models
from analysis.models.arrays import Bools, Floats, Ints
from analysis.models.formula import ModelFormula
from analysis.models.levels import Labels

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CONSTANT", "Design", "Factor", "Rows", "check_finite"]

CONSTANT = "Intercept"


@dataclass(frozen=True)
class Factor:
    """A grouping factor and the columns that vary over its levels.

    ``columns`` name the c columns; ``parts`` says which of them belong to one random term, as (start, stop); columns of
    one part are correlated, parts are independent of each other.
    """

    group: tuple[str, ...]
    columns: tuple[str, ...]
    parts: tuple[tuple[int, int], ...]

    @property
    def name(self) -> str:
        """The factor, or its factors joined by a colon."""
        return ":".join(self.group)


@dataclass(frozen=True)
class Rows:
    """The rows of one chunk, ready to be added up.

    ``dense`` (n, k) holds the constant, the fixed columns and the response, in the order of ``Design.names``;
    ``codes`` (n,) for each factor are places among its ``labels``, values or tuples of the chunk; ``columns`` (n, c)
    for each factor, None where the only column is the constant. ``kept`` (rows of the chunk,) marks the complete rows.
    """

    dense: Floats
    codes: tuple[Ints, ...]
    labels: tuple[Labels, ...]
    columns: tuple[Floats | None, ...]
    kept: Bools
    missing: int

    def take(self, chosen: Bools) -> Rows:
        """Only the chosen of the complete rows."""
        return Rows(
            self.dense[chosen],
            tuple(codes[chosen] for codes in self.codes),
            self.labels,
            tuple(None if columns is None else columns[chosen] for columns in self.columns),
            self.kept,
            0,
        )


@dataclass(frozen=True)
class Design:
    """A formula bound to the levels of its categories, so that every chunk gets the same columns.

    ``names`` are the dense columns: the constant first, whether or not the formula has an intercept, then the other
    fixed columns, then the response. ``fixed`` are those of the formula, ``added`` those that no formula made of a
    frame. ``spec`` is what formulaic makes of the formula, None where the columns were read without it.
    """

    formula: ModelFormula
    names: tuple[str, ...]
    fixed: tuple[str, ...]
    factors: tuple[Factor, ...]
    variables: tuple[str, ...]
    levels: Mapping[str, tuple[Any, ...]]
    spec: Any = field(repr=False)
    random_specs: tuple[Any, ...] = field(repr=False)
    added: tuple[str, ...] = ()

    @property
    def response(self) -> str:
        """The response as the formula writes it."""
        return self.names[-1]

    def fixed_rows(self, frame: pd.DataFrame) -> Floats:
        """Return the fixed columns (n, p) of a frame that need hold neither response nor groups.

        Raises
        ------
        ValueError
            If a column is missing or a category is not among the levels.
        """
        return models.frame_rows.fixed_rows(self, frame)

    def rows(self, frame: pd.DataFrame) -> Rows:
        """Return the complete rows of ``frame`` as arrays.

        Raises
        ------
        ValueError
            If a column is missing, a category was not among the levels that the design was made from, or a value such
            as the log of zero is not finite; or if columns that no formula names were added to the design.
        """
        return models.frame_rows.complete_rows(self, frame)


def check_finite(dense: Floats, names: tuple[str, ...]) -> None:
    """Refuse rows (n, k) that hold what is no number.

    Raises
    ------
    ValueError
        If a value is not finite; the message names the columns.
    """
    bad = ~np.isfinite(dense)
    if bad.any():
        which = [f"{name} ({count} rows)" for name, count in zip(names, bad.sum(axis=0), strict=True) if count]
        raise ValueError(f"every value of the model must be finite; not so: {', '.join(which)}")
