"""How is a number, a date or a change told to a brewer?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

__all__ = [
    "MINUS",
    "amount",
    "change",
    "count",
    "day",
    "days_between",
    "end_of_span",
    "figure",
    "listing",
    "percent",
    "percent_of_ratio",
    "span",
]

MINUS = "−"
NOT_KNOWN = "not known"
_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def amount(value: float, unit: str = "", *, digits: int = 3) -> str:
    """Return a value to so many significant figures with its unit.

    >>> amount(94.4312, "µg/L")
    '94.4 µg/L'
    >>> amount(12345.6, "µg/L")
    '12,300 µg/L'
    """
    if not math.isfinite(value):
        return NOT_KNOWN
    text = _significant(value, digits)
    return f"{text} {unit}".strip() if unit != "%" else f"{text} %"


def figure(value: float, unit: str = "") -> str:
    """Return a value that was set or noted, such as a dose, without zeros that say nothing.

    >>> figure(50.0, "mL/hL"), figure(7.48, "days")
    ('50 mL/hL', '7.48 days')
    """
    text = amount(value)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".strip()


def change(value: float, unit: str = "", *, digits: int = 3) -> str:
    """Return a difference with its sign always shown.

    >>> change(-3.5, "µg/L")
    '−3.50 µg/L'
    """
    if not math.isfinite(value):
        return NOT_KNOWN
    text = amount(value, unit, digits=digits)
    return text if value <= 0 else f"+{text}"


def percent(value: float) -> str:
    """Return a percentage with its sign, to two significant figures: ``+12 %``."""
    return change(value, "%", digits=2)


def percent_of_ratio(log_ratio: float) -> float:
    """Return the percent change that a difference of logs stands for."""
    return 100 * math.expm1(log_ratio)


def span(low: float, high: float, unit: str = "", *, digits: int = 3) -> str:
    """Return an interval of changes: ``−1.2 to +3.4 µg/L``.

    The end that is nearer to 0 has no more decimals than the other has at three figures, unless it would read as 0.

    >>> span(-0.004986, 0.5142, "points")
    '−0.005 to +0.514 points'
    """
    return f"{end_of_span(low, high, digits=digits)} to {end_of_span(high, low, unit, digits=digits)}"


def end_of_span(value: float, other: float, unit: str = "", *, digits: int = 3) -> str:
    """Return one end of an interval of changes, no finer than the other end makes sensible."""
    if not (math.isfinite(value) and math.isfinite(other)) or abs(value) >= abs(other) or value == 0:
        return change(value, unit, digits=digits)
    finest = max(2 - math.floor(math.log10(abs(other))), 0)
    own = digits - 1 - math.floor(math.log10(abs(value)))
    if own <= finest:
        return change(value, unit, digits=digits)
    return change(value, unit, digits=max(digits - (own - finest), 1))


def day(moment: date | datetime) -> str:
    """Return a date as the house writes it: ``12 May 2026``."""
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def days_between(earliest: date | datetime, latest: date | datetime) -> str:
    """Return the days between which something happened, ``to the day`` where they are one.

    >>> days_between(date(2026, 5, 2), date(2026, 5, 9))
    'between 2 May 2026 and 9 May 2026'
    >>> days_between(date(2026, 5, 2), date(2026, 5, 2))
    'to the day'
    """
    first, last = day(earliest), day(latest)
    return "to the day" if first == last else f"between {first} and {last}"


def count(number: int, one: str, many: str | None = None) -> str:
    """Return a count with its noun: ``1 batch``, ``12 batches``.

    >>> count(2, "batch", "batches")
    '2 batches'
    """
    noun = one if number == 1 else (many if many is not None else f"{one}s")
    return f"{number:,} {noun}"


def listing(words: Sequence[str], *, most: int = 6) -> str:
    """Return words as a list in a sentence; past ``most`` the rest is counted.

    >>> listing(["P40", "I62", "S48"])
    'P40, I62 and S48'
    """
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _significant(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    exponent = math.floor(math.log10(abs(value)))
    rounded = round(value, digits - 1 - exponent)
    if rounded != 0:
        exponent = math.floor(math.log10(abs(rounded)))
    return f"{rounded:,.{max(digits - 1 - exponent, 0)}f}".replace("-", MINUS)
