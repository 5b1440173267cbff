"""Which columns of a formula are categories, and which levels have they?"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from formulaic.parser.types import Factor

from analysis.models.levels import check_known

__all__ = ["as_categories", "category_levels", "names_in"]

_QUOTED = re.compile(r"`([^`]+)`")


def names_in(formula: Any) -> set[str]:
    """The columns that a part of formulaic's formula names."""
    return {name for term in formula for factor in term.factors for name in _names_of(factor)}


def _names_of(factor: Factor) -> set[str]:
    """The columns that a factor needs: itself where it is one, whatever its name; what stands within brackets else.

    formulaic tells nothing of what stands within ``center``, ``scale``, ``poly`` and the splines, and takes a dot in a
    quoted name for an attribute.
    """
    expression = str(factor.expr)
    if factor.eval_method is Factor.EvalMethod.LOOKUP:
        return {expression}
    told, quoted = {str(name) for name in factor.required_variables}, set(_QUOTED.findall(expression))
    if (told and not quoted) or factor.eval_method is not Factor.EvalMethod.PYTHON:
        return told
    tree = ast.parse(_QUOTED.sub("0", expression), mode="eval")
    functions = {id(part) for node in ast.walk(tree) if isinstance(node, ast.Call) for part in ast.walk(node.func)}
    return quoted | {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and id(node) not in functions}


def category_levels(used: pd.DataFrame, formulas: Sequence[Any]) -> list[tuple[str, tuple[Any, ...]]]:
    """The levels of each column that a formula takes for categories, without those that no row has."""
    found = []
    for name in sorted({name for part in formulas for name in names_in(part)}):
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
