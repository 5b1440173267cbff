"""Which margin has the brewery set for a measure, and who set it?"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis.verdicts import Margin, MarginAtLevel, strictest, working_margin
from analysis.vocabulary import measure as measure_of

__all__ = ["margin_for", "margins_on_record", "only_format"]

_NOT_SAID = "the targets on record"


def margins_on_record(targets: pd.DataFrame, measure: str, format: str | None = None) -> tuple[Margin, ...]:
    """Return the margins that stand among the targets, one a recipe or one for all (``recipe`` None).

    A margin that was set for kegs says nothing of cans: one with a format counts only where ``format`` is that, and
    then before one without.

    Parameters
    ----------
    targets : DataFrame
        The targets on record: ``recipe``, ``quantity``, ``margin`` [the measure's kept unit], and ``by`` and ``at``
        where the ledger says who set them and when. The latest of several for one recipe counts.
    measure : str
    format : str, optional
        The one format that is compared, where it is one.
    """
    if not len(targets):
        return ()
    set_ones = targets[(targets["quantity"] == measure) & (targets["margin"] > 0)]
    if "at" in set_ones:
        set_ones = set_ones.sort_values("at", kind="stable")
    if "format" in set_ones:
        for_all = set_ones["format"].isna() | (set_ones["format"] == "")
        set_ones = pd.concat([set_ones[for_all], set_ones[set_ones["format"] == format]])
    latest = {_recipe(row): row for _, row in set_ones.iterrows()}
    unit = measure_of(measure).unit
    return tuple(
        Margin(float(row["margin"]), unit, str(row.get("by", _NOT_SAID)), row.get("at"), recipe)
        for recipe, row in latest.items()
    )


def margin_for(on_record: tuple[Margin, ...], measure: str, levels: Mapping[str, float], *, log: bool) -> MarginAtLevel:
    """Return the margin that judges a verdict over these recipes: the strictest of theirs.

    A recipe's own margin counts at the recipe's own level; a recipe without one takes the brewery's margin for all, and
    failing that the working default, marked as one.

    Parameters
    ----------
    on_record : tuple of Margin
    measure : str
    levels : mapping of recipe to float
        Each recipe's typical value [the measure's kept unit].
    log : bool
        Whether the model works on logs.

    Raises
    ------
    ValueError
        If ``levels`` is empty.
    """
    own = {margin.recipe: margin for margin in on_record}
    default = own.get(None, working_margin(measure))
    return strictest(MarginAtLevel.at(own.get(recipe, default), level, log=log) for recipe, level in levels.items())


def only_format(frame: pd.DataFrame) -> str | None:
    """Return the format of the packs where all have one and the same."""
    formats = frame["format"].unique()
    return str(formats[0]) if len(formats) == 1 and pd.notna(formats[0]) else None


def _recipe(row: pd.Series) -> str | None:
    return None if pd.isna(row["recipe"]) or row["recipe"] == "" else str(row["recipe"])
