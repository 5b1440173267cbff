"""Which margin has the brewery set for a measure, and who set it?

A margin comes with the targets that were taken in, or a person sets it on the page: then it stands in the ledger's
journal under the subject ``"margin"``, with who, when and why, and can be taken back. The latest for a recipe counts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from analysis.ledger import JournalEntry, Ledger
from analysis.verdicts import Margin, MarginAtLevel, strictest, working_margin
from analysis.vocabulary import FORMATS
from analysis.vocabulary import measure as measure_of

__all__ = [
    "SUBJECT",
    "DecidedMargin",
    "decide_margin",
    "decided_margins",
    "margin_for",
    "margins_on_record",
    "only_format",
    "units_for",
    "with_decided_margins",
]

SUBJECT = "margin"
_NOT_SAID = "the targets on record"


@dataclass(frozen=True)
class DecidedMargin:
    """A margin that a person set, for a measure in one recipe or all, in one format or all (None)."""

    number: int
    measure: str
    recipe: str | None
    format: str | None
    value: float
    unit: str
    because: str
    by: str
    at: datetime


def units_for(measure: str) -> tuple[str, ...]:
    """Return the units in which a margin for a measure can be said: the kept one, and % of the level where that can be
    a share of something."""
    known = measure_of(measure)
    return (known.unit, "%") if known.scale == "log" else (known.unit,)


def decide_margin(
    ledger: Ledger,
    measure: str,
    value: float,
    unit: str,
    because: str,
    by: str,
    *,
    recipe: str | None = None,
    format: str | None = None,
    at: datetime | None = None,
) -> JournalEntry:
    """Set the smallest difference that matters.

    Parameters
    ----------
    ledger : Ledger
    measure : str
    value : float
        Above 0 [``unit``].
    unit : str
        The measure's kept unit, or ``"%"`` of the recipe's own level where the measure is one of amounts.
    because, by : str
        Why, and who says so.
    recipe, format : str, optional
        What it holds for; for all where it is not given.

    Raises
    ------
    ValueError
        If the value is not above 0, or 100 % or more, or the unit or the format is none of the allowed.
    """
    if unit not in units_for(measure):
        raise ValueError(f"decide_margin: unit must be one of {', '.join(units_for(measure))}, got {unit!r}")
    if not (math.isfinite(value) and value > 0) or (unit == "%" and value >= 100):
        raise ValueError(f"decide_margin: value must be above 0, and below 100 where it is a percentage, got {value}")
    if format is not None and format not in FORMATS:
        raise ValueError(f"decide_margin: format must be one of {', '.join(FORMATS)}, got {format!r}")
    content = {"measure": measure, "recipe": recipe, "format": format, "value": float(value), "unit": unit}
    return ledger.decide(SUBJECT, content, because, by, at)


def decided_margins(ledger: Ledger, state: int | None = None) -> tuple[DecidedMargin, ...]:
    """Return the margins that people set and that stand, in order; those that stood in an earlier state if named."""
    entries = ledger.journal(SUBJECT, standing=state is None)
    return tuple(found for entry in entries if _stood(entry, state) and (found := _decided(entry)) is not None)


def with_decided_margins(targets: pd.DataFrame, decided: Sequence[DecidedMargin]) -> pd.DataFrame:
    """Return the targets on record with a row for each margin that a person set, ``margin_unit`` saying its unit."""
    if not decided:
        return targets
    words = {"recipe": "recipe", "format": "format", "quantity": "measure", "margin_unit": "unit", "by": "by"}
    rows = pd.DataFrame(
        {name: pd.Series([getattr(one, own) for one in decided], dtype="str") for name, own in words.items()}
        | {"margin": [one.value for one in decided], "at": pd.to_datetime([one.at for one in decided])}
    )
    blank = {name: np.nan for name in ("lower", "upper", "target") if name in targets}
    return pd.concat([targets, rows.assign(**blank)], ignore_index=True) if len(targets) else rows.assign(**blank)


def _stood(entry: JournalEntry, state: int | None) -> bool:
    if state is None:
        return True
    return entry.state <= state and (entry.taken_back is None or entry.taken_back.state > state)


def _decided(entry: JournalEntry) -> DecidedMargin | None:
    """Return what an entry says; None where it makes no sense."""
    said = entry.content
    value, measure, unit = said.get("value"), said.get("measure"), said.get("unit")
    if not isinstance(value, int | float) or not isinstance(measure, str) or not measure:
        return None
    if not (math.isfinite(value) and value > 0) or unit not in units_for(measure):
        return None
    recipe, format = (
        word if isinstance(word, str) and word else None for word in (said.get("recipe"), said.get("format"))
    )
    return DecidedMargin(
        entry.number, measure, recipe, format, float(value), str(unit), entry.because, entry.by, entry.at
    )


def margins_on_record(targets: pd.DataFrame, measure: str, format: str | None = None) -> tuple[Margin, ...]:
    """Return the margins that stand among the targets, one a recipe or one for all (``recipe`` None).

    A margin that was set for kegs says nothing of cans: one with a format counts only where ``format`` is that, and
    then before one without.

    Parameters
    ----------
    targets : DataFrame
        The targets on record: ``recipe``, ``quantity``, ``margin`` [``margin_unit``, else the measure's kept unit], and
        ``by`` and ``at`` where the ledger says who set them and when. The latest of several for one recipe counts.
    measure : str
    format : str, optional
        The one format that is compared, where it is one.
    """
    if not len(targets):
        return ()
    meant = (targets["margin"] > 0) & np.isfinite(targets["margin"].astype(np.float64))
    set_ones = targets[(targets["quantity"] == measure) & meant]
    if "at" in set_ones:
        set_ones = set_ones.sort_values("at", kind="stable")
    if "format" in set_ones:
        for_all = set_ones["format"].isna() | (set_ones["format"] == "")
        set_ones = pd.concat([set_ones[for_all], set_ones[set_ones["format"] == format]])
    latest = {_recipe(row): row for _, row in set_ones.iterrows()}
    unit = measure_of(measure).unit
    return tuple(
        Margin(float(row["margin"]), _unit(row, unit), str(row.get("by", _NOT_SAID)), _moment(row), recipe)
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


def _unit(row: pd.Series, kept: str) -> str:
    said = row.get("margin_unit")
    return kept if said is None or pd.isna(said) else str(said)


def _moment(row: pd.Series) -> datetime | None:
    said = row.get("at")
    return None if said is None or pd.isna(said) else pd.Timestamp(said).to_pydatetime()


def _recipe(row: pd.Series) -> str | None:
    return None if pd.isna(row["recipe"]) or row["recipe"] == "" else str(row["recipe"])
