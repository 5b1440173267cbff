"""What does an address of the dashboard say about the selection?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from urllib.parse import parse_qs, urlencode

from analysis.findings.filters import Filters
from analysis.vocabulary import FORMATS

__all__ = ["filters_from_kept", "filters_from_search", "kept", "query"]

_MOST_RECIPES = 200
_LONGEST = 120


def filters_from_search(search: str | None) -> Filters:
    """Return the selection in an address's query; whatever makes no sense in it is left out.

    >>> filters_from_search("?recipe=P40&recipe=I62&format=can").recipes
    ('P40', 'I62')
    """
    asked = parse_qs((search or "").removeprefix("?"), max_num_fields=500)
    single = {name: values[0] for name, values in asked.items()}
    return _checked(asked.get("recipe", []), single)


def filters_from_kept(data: object) -> Filters:
    """Return the selection that the browser keeps; a forged one is held to the same rules as a typed address."""
    if not isinstance(data, Mapping):
        return Filters()
    recipes = data.get("recipes")
    return _checked(recipes if isinstance(recipes, Sequence) and not isinstance(recipes, str) else [], data)


def kept(filters: Filters) -> dict[str, Any]:
    """Return a selection as the browser keeps it."""
    return {
        "recipes": list(filters.recipes),
        "format": filters.format,
        "since": None if filters.since is None else filters.since.isoformat(),
        "until": None if filters.until is None else filters.until.isoformat(),
        "tank": filters.tank,
    }


def query(filters: Filters, **further: str) -> str:
    """Return a selection as an address's query, with its question mark; empty where everything is selected.

    ``further`` are other things that the address says, such as the measure.
    """
    pairs = [("recipe", recipe) for recipe in filters.recipes]
    pairs += [(name, value) for name, value in kept(filters).items() if name != "recipes" and value]
    pairs += [(name, value) for name, value in further.items() if value]
    return f"?{urlencode(pairs)}" if pairs else ""


def _checked(recipes: Sequence[object], single: Mapping[str, object]) -> Filters:
    asked_format = single.get("format")
    since, until = _in_order(_day(single.get("since")), _day(single.get("until")))
    return Filters(
        recipes=tuple(dict.fromkeys(r for r in map(_text, recipes[:_MOST_RECIPES]) if r)),
        format=asked_format if isinstance(asked_format, str) and asked_format in FORMATS else None,
        since=since,
        until=until,
        tank=_text(single.get("tank")),
    )


def _in_order(since: date | None, until: date | None) -> tuple[date | None, date | None]:
    """Return two days with the earlier one first: a person who crossed them means the days between."""
    return (until, since) if since is not None and until is not None and since > until else (since, until)


def _text(value: object) -> str | None:
    return value.strip()[:_LONGEST] or None if isinstance(value, str) else None


def _day(value: object) -> date | None:
    try:
        return date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None
