"""What do the rows add up to?

With W = [Z | X | y], everything that a Gaussian mixed model needs of its rows is A = W'W: counts, sums and sums of
products by level and by pair of levels. A is added up chunk by chunk, Z is never formed, a submodel is an index subset
of A, and leaving rows out is a subtraction.

The dense columns are kept less the mean of the first chunk, because raw sums of a measure near 10⁶ would lose the
deviance's fourth decimal.

Source: Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1), section 3 (the equations in W'W).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from analysis.models.arrays import CannotFitError, Floats, Ints, Sparse, added_entries
from analysis.models.design import CONSTANT, Design, Rows
from analysis.models.levels import Labels

__all__ = ["Accumulator", "CrossProducts", "with_dense_products"]

_ROUNDING = 1e-10  # share of the largest level's sum of squares that a subtraction may leave


@dataclass(frozen=True)
class CrossProducts:
    """The sums of a design over its rows.

    ``names`` are the k dense columns (constant, fixed columns, response) and ``dense`` (k, k) their products, each
    column less ``shift`` (k,). For factor t with q levels and c columns: ``own[t]`` (q, c, c) the products of its
    columns by level, ``with_dense[t]`` (q·c, k) their products with the dense columns, and ``pairs[t, s]``, t < s,
    (q·c, q·c) sparse, those with another factor's; row l·c + a is column a of level l.
    """

    design: Design
    rows: int
    missing: int
    shift: Floats
    dense: Floats
    own: tuple[Floats, ...]
    with_dense: tuple[Floats, ...]
    pairs: Mapping[tuple[int, int], Sparse]
    labels: tuple[Labels, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The dense columns."""
        return self.design.names

    def levels(self, factor: int) -> int:
        """How many levels a factor has that some row holds."""
        squares = np.asarray(self.own[factor].diagonal(axis1=1, axis2=2))
        return int(np.any(squares > _ROUNDING * squares.max(axis=0), axis=1).sum())

    def minus(self, part: CrossProducts) -> CrossProducts:
        """Leave out rows that were added up with the same design, shift and levels."""
        if part.labels != self.labels or not np.array_equal(part.shift, self.shift):
            raise ValueError("minus: part must be added up with the same levels and shift")
        return replace(
            self,
            rows=self.rows - part.rows,
            missing=self.missing - part.missing,
            dense=self.dense - part.dense,
            own=tuple(a - b for a, b in zip(self.own, part.own, strict=True)),
            with_dense=tuple(a - b for a, b in zip(self.with_dense, part.with_dense, strict=True)),
            pairs={key: sparse.csr_array(self.pairs[key] - part.pairs[key]) for key in self.pairs},
        )


class Accumulator:
    """Adds chunks of rows up. ``levels_from`` takes shift and levels over, so that its result can be subtracted."""

    def __init__(self, design: Design, levels_from: CrossProducts | None = None) -> None:
        self.design = design
        self._rows = 0
        self._missing = 0
        count = len(design.factors)
        self._labels: list[Labels] = [()] * count
        self._known: list[dict[Hashable, int]] = [{} for _ in range(count)]  # the labels' places, once they are asked
        self._shift: Floats | None = None
        self._own: list[Floats] = [np.zeros((0, len(f.columns), len(f.columns))) for f in design.factors]
        self._with: list[Floats] = [np.zeros((0, len(design.names))) for _ in design.factors]
        self._dense: Floats = np.zeros((len(design.names),) * 2)
        self._pairs: dict[tuple[int, int], Sparse] = {}
        if levels_from is not None:
            self._shift = levels_from.shift
            self._labels = list(levels_from.labels)

    def add_rows(self, rows: Rows) -> None:
        """Add rows that the design has read."""
        self._missing += rows.missing
        if not len(rows.dense):
            return
        if self._shift is None:
            self._shift = _shift(rows.dense, self.design)
        dense = rows.dense - self._shift
        self._rows += len(dense)
        self._dense = self._dense + dense.T @ dense
        codes = [self._place(t, rows.codes[t], rows.labels[t]) for t in range(len(self._labels))]
        for t, own in enumerate(codes):
            self._add_factor(t, own, rows.columns[t], dense)
        for t in range(len(codes)):
            for s in range(t + 1, len(codes)):
                added = _pair(codes[t], codes[s], rows.columns[t], rows.columns[s], self._size(t), self._size(s))
                held = self._pairs.get((t, s))
                self._pairs[t, s] = added if held is None else _resized(held, added.shape) + added

    def result(self) -> CrossProducts:
        """The sums so far.

        Raises
        ------
        CannotFitError
            If no complete row was added.
        """
        if self._shift is None:
            raise CannotFitError(f"no row has all of {', '.join(self.design.variables)}")
        count = len(self._labels)
        return CrossProducts(
            design=self.design,
            rows=self._rows,
            missing=self._missing,
            shift=self._shift,
            dense=self._dense,
            own=tuple(_grown(self._own[t].copy(), len(self._labels[t])) for t in range(count)),
            with_dense=tuple(_grown(self._with[t].copy(), self._size(t)) for t in range(count)),
            pairs={(t, s): _resized(pair, (self._size(t), self._size(s))) for (t, s), pair in self._pairs.items()},
            labels=tuple(self._labels),
        )

    def _size(self, t: int) -> int:
        return len(self._labels[t]) * len(self.design.factors[t].columns)

    def _place(self, t: int, codes: Ints, labels: Labels) -> Ints:
        """The codes of a chunk as codes of all levels, new ones appended."""
        held = self._labels[t]
        if not held:
            self._labels[t] = labels
            return codes
        if labels is held or labels == held:
            return codes
        known = self._known[t] or {label: place for place, label in enumerate(held)}
        places = np.array([known.setdefault(label, len(known)) for label in labels], dtype=np.int64)
        self._known[t] = known
        if len(known) > len(held):
            self._labels[t] = tuple(known)
        return places[codes]

    def _add_factor(self, t: int, codes: Ints, columns: Floats | None, dense: Floats) -> None:
        levels, width = len(self._labels[t]), len(self.design.factors[t].columns)
        varying = np.ones((len(codes), 1)) if columns is None else columns
        own = _grown(self._own[t], levels)
        for a in range(width):
            for b in range(a + 1):
                product = None if columns is None else varying[:, a] * varying[:, b]
                own[:, a, b] += np.bincount(codes, product, levels)
                own[:, b, a] = own[:, a, b]
        self._own[t] = own
        self._with[t] = _grown(self._with[t], levels * width) + with_dense_products(codes, columns, dense, levels)


def _shift(dense: Floats, design: Design) -> Floats:
    """The first chunk's means; the fixed columns stay as they are where no intercept could take them up."""
    shift = dense.mean(axis=0)
    shift[0] = 0.0
    if CONSTANT not in design.fixed:
        shift[1:-1] = 0.0
    return np.asarray(shift)


def with_dense_products(codes: Ints, columns: Floats | None, dense: Floats, levels: int) -> Floats:
    """Z'D (q·c, k) of a factor with these codes and columns (the constant where None) and dense columns (n, k)."""
    rows, width = len(codes), 1 if columns is None else columns.shape[1]
    values = np.ones(rows) if columns is None else columns.ravel()
    places = (codes[:, None] * width + np.arange(width)).ravel()
    Z = sparse.csr_array((values, places, np.arange(0, rows * width + 1, width)), shape=(rows, levels * width))
    return np.asarray(Z.T @ dense)


def _pair(
    first: Ints, second: Ints, varying_first: Floats | None, varying_second: Floats | None, rows: int, columns: int
) -> Sparse:
    left = np.ones((len(first), 1)) if varying_first is None else varying_first
    right = np.ones((len(second), 1)) if varying_second is None else varying_second
    at: list[Ints] = []
    to: list[Ints] = []
    values: list[Floats] = []
    for a in range(left.shape[1]):
        for b in range(right.shape[1]):
            at.append(first * left.shape[1] + a)
            to.append(second * right.shape[1] + b)
            values.append(left[:, a] * right[:, b])
    return added_entries(values, at, to, (rows, columns))


def _grown(array: Floats, rows: int) -> Floats:
    if len(array) == rows:
        return array
    return np.concatenate([array, np.zeros((rows - len(array), *array.shape[1:]))])


def _resized(pair: Sparse, shape: tuple[int, ...]) -> Sparse:
    if pair.shape == shape:
        return pair
    grown = pair.copy()
    grown.resize(*shape)
    return grown
