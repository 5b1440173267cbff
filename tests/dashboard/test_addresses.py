"""Does an address carry a selection there and back, and shrug off nonsense?"""

from __future__ import annotations

from datetime import date

import pytest

from analysis.findings.filters import Filters
from dashboard.parts.addresses import filters_from_kept, filters_from_search, kept, query

FULL = Filters(("P40", "I62 & co"), "can", date(2026, 5, 1), date(2026, 6, 1), "FV 3")


def test_an_address_carries_a_selection_there_and_back() -> None:
    assert filters_from_search(query(FULL)) == FULL
    assert filters_from_kept(kept(FULL)) == FULL


def test_everything_needs_no_query() -> None:
    assert query(Filters()) == ""
    assert filters_from_search("") == Filters()
    assert filters_from_search(None) == Filters()


def test_what_else_a_page_shows_stands_beside_the_selection() -> None:
    assert query(Filters(("P40",)), measure="haze", stage="") == "?recipe=P40&measure=haze"


@pytest.mark.parametrize(
    "search",
    [
        "?format=barrel",
        "?since=yesterday",
        "?until=2026-13-01",
        "?recipe=",
        "?tank=%20",
        "?nothing=1",
        "?recipe=%20&format=",
    ],
)
def test_nonsense_in_an_address_selects_everything(search: str) -> None:
    assert filters_from_search(search) == Filters()


@pytest.mark.parametrize(
    "data",
    [
        None,
        3,
        "P40",
        [],
        {"recipes": "P40"},
        {"recipes": [1, None, ["P40"], {"a": 1}]},
        {"format": ["can"]},
        {"since": 20260501, "until": {"day": 1}, "tank": 4},
    ],
)
def test_a_forged_selection_selects_everything(data: object) -> None:
    assert filters_from_kept(data) == Filters()


def test_a_recipe_asked_for_twice_is_one_recipe() -> None:
    assert filters_from_search("?recipe=P40&recipe=P40").recipes == ("P40",)


def test_crossed_days_mean_the_days_between() -> None:
    filters = filters_from_search("?since=2026-06-01&until=2026-05-01")
    assert (filters.since, filters.until) == (date(2026, 5, 1), date(2026, 6, 1))
