"""Which columns of a formula are categories, and which levels have they?"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from analysis.models.levels import check_known

__all__ = ["as_categories", "category_levels"]


def category_levels(used: pd.DataFrame, formulas: Sequence[Any]) -> list[tuple[str, tuple[Any, ...]]]:
    """The levels of each column that a formula takes for categories, without those that no row has."""
    found = []
    for name in sorted({str(name) for part in formulas for name in part.required_variables}):
        column = used[name]
        if isinstance(column.dtype, pd.CategoricalDtype):
            found.append((name, tuple(column.cat.remove_unused_categories().cat.categories)))
        elif pd.api.types.is_datetime64_any_dtype(column.dtype):
            continue
        elif not pd.api.types.is_numeric_dtype(column.dtype) or _only_in_c(name, formulas):
            found.append((name, tuple(sorted(column.unique()))))
    return found


def _only_in_c(name: str, formulas: Sequence[Any]) -> bool:
    """Whether a numeric column stands in C() wherever it stands."""
    places = [
        str(factor.expr)
        for part in formulas
        for term in part
        for factor in term.factors
        if re.search(rf"(?<![\w.]){re.escape(name)}(?!\w)", str(factor.expr))
    ]
    return bool(places) and all(re.match(r"C\(\s*`?" + re.escape(name) + r"`?\s*[,)]", place) for place in places)


def as_categories(used: pd.DataFrame, levels: Mapping[str, tuple[Any, ...]]) -> pd.DataFrame:
    """The frame with each known column a category of its levels.

    Raises
    ------
    ValueError
        If a row holds another level.
    """
    changed = {}
    for name, known in levels.items():
        if name not in used.columns:
            continue
        check_known(name, set(used[name].unique()) - set(known))
        changed[name] = used[name].astype(pd.CategoricalDtype(list(known)))
    return used.assign(**changed) if changed else used
