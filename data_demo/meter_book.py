"""What stands in the meter book: what each meter showed of something known?"""

from __future__ import annotations

from data_demo.brewery import Brewery
from data_demo.paper import Book, Draft, Mark, Page

__all__ = ["meter_book"]

_WORDS = {"dissolved_oxygen": "dissolved oxygen", "haze": "haze"}


def meter_book(made: Brewery) -> Book:
    """Return the meter book. It hides a drift of OX2 in air-saturated water, and a check without a figure."""
    return Book("Meter checks.xlsx", (_page(made, "Oxygen", "dissolved_oxygen"), _page(made, "Haze", "haze")))


def _page(made: Brewery, name: str, quantity: str) -> Page:
    page = Draft(name, "meter_checks").banner(f"{name} meters", "expected: what it should read")
    page.header("Meter", "Date", "Time", "Quantity", "Against", "Expected", "Observed", "Unit")
    for place, check in enumerate(c for c in made.checks if c.meter.quantity == quantity):
        at = check.checked_at
        row = (check.meter.name, at.date(), at.time(), _WORDS[quantity], check.against, check.reference)
        page.write((*row, check.observed, check.unit))
        if quantity == "haze" and place == 17:
            page.write((*row, "see note", check.unit), Mark.BAD)
    return page.page()
