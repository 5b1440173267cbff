"""Which recipe is each batch of, where the batch list does not say or writes one name in two ways?"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd

from analysis.linking.runs import Runs, only_value
from analysis.records.names import recipe_name
from analysis.vocabulary import slug

__all__ = ["RECIPE_HEADERS", "one_spelling", "spellings", "with_packed_recipes"]

RECIPE_HEADERS = frozenset({"recipe", "beer", "product", "brand", "beer_recipe", "recipe_name", "beer_name", "sku"})
"""Further columns of a packaging sheet that say which beer was packed."""


def with_packed_recipes(batches: pd.DataFrame, runs: Runs, pack_rows: pd.DataFrame) -> pd.DataFrame:
    """Return the batches, one without a recipe having the one that its packaging sheet names.

    Parameters
    ----------
    batches : DataFrame
        ``recipe``, a row a batch.
    runs : Runs
    pack_rows : DataFrame
        The packaging records: ``record`` and ``extra`` (JSON text).
    """
    if not batches["recipe"].isna().any():
        return batches
    written = _written(pack_rows["extra"])
    place = pd.Index(pack_rows["record"]).get_indexer(pd.Index(runs.members["record"]))
    named = only_value(runs.members["use"].to_numpy(np.int64), written.take(place), len(batches))
    recipe = batches["recipe"]
    return batches.assign(recipe=recipe.where(recipe.notna(), named.set_axis(recipe.index)))


def spellings(written: pd.Series) -> dict[str, str]:
    """Return, for each name in small letters, the way in which it is written most often, the first of those in order.

    >>> spellings(pd.Series(["Mild", "mild", "Mild"]))
    {'mild': 'Mild'}
    """
    often = written.value_counts().sort_index().sort_values(ascending=False, kind="stable")
    usual: dict[str, str] = {}
    for name in often.index:
        usual.setdefault(str(name).casefold(), str(name))
    return usual


def one_spelling(written: pd.Series, usual: dict[str, str]) -> pd.Series:
    """Return names in their usual spelling: "mild" and "Mild" are one beer."""
    words = {name: usual.get(str(name).casefold(), str(name)) for name in written.dropna().unique()}
    return written.map(words).astype("str") if any(name != word for name, word in words.items()) else written


def _written(extra: pd.Series) -> pd.Series:
    """Return the recipe that each packaging record names in a further column."""
    place, texts = pd.factorize(extra, use_na_sentinel=True)
    documents: list[dict[str, object]] = json.loads(f"[{','.join(texts)}]")
    named = [[str(cell) for header, cell in d.items() if slug(header) in RECIPE_HEADERS and cell] for d in documents]
    recipes = pd.Series([recipe_name(cells[0]) if cells else None for cells in named], dtype="str")
    return pd.Series(recipes.array.take(place, allow_fill=True))
