"""Which of the names that were asked about is nowhere on record, and which names are?"""

from __future__ import annotations

from collections.abc import Iterable

from analysis.findings.filters import Filters
from analysis.findings.wording import listing
from analysis.linking import PackTable
from analysis.vocabulary import MEASURES

__all__ = ["not_on_record"]

_MOST_NAMED = 12


def not_on_record(table: PackTable, filters: Filters, measure: str | None = None) -> tuple[str, ...]:
    """Return a sentence for each recipe, tank and measure that was asked about and is nowhere on record.

    A measure of the vocabulary is never among them: that nothing was read is for the finding to say.
    """
    recipes = {*_named(table, "recipe"), *table.batches["recipe"].dropna().astype(str)}
    tanks = {*_named(table, "tank"), *table.operations["tank"].dropna().astype(str)}
    said = [_sentence("recipe", asked, recipes) for asked in filters.recipes]
    if filters.tank is not None:
        said.append(_sentence("tank", filters.tank, tanks))
    if measure is not None and measure not in MEASURES:
        attributes = set(table.tastings["attribute"].dropna().astype(str))
        said.append(_sentence("measure", measure, {*table.measures, *attributes}))
    return tuple(one for one in said if one)


def _named(table: PackTable, column: str) -> set[str]:
    return set(table.rows[column].dropna().astype(str)) if column in table.rows else set()


def _sentence(what: str, asked: str, known: Iterable[str]) -> str:
    names = sorted(known)
    if _alike(asked) in {_alike(name) for name in names}:
        return ""
    there = f"On record: {listing(names, most=_MOST_NAMED)}." if names else f"No {what} is on record yet."
    return f"No {what} {asked} is on record. {there}"


def _alike(name: str) -> str:
    return " ".join(name.split()).casefold()
