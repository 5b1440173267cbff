"""What day, month, year and time of day does a pattern of digits and letters stand for?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.records.digit_patterns import Pattern

__all__ = ["CLOCK", "DatePart", "clock_seconds", "date_part", "day_numbers", "days_from"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FULL = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
         "november", "december")  # fmt: skip
_MONTH_OF = {
    **{name: i + 1 for i, name in enumerate(_MONTHS)},
    **{name: i + 1 for i, name in enumerate(_FULL)},
    "sept": 9, "june": 6, "july": 7,
}  # fmt: skip
_NAME = "|".join(sorted(_MONTH_OF, key=len, reverse=True))
_WEEKDAY = r"(?:(?:mon|tues?|wed(?:nes|s)?|thur?s?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+)?"
_GAP = r"[\s\-/.,']{1,3}"
_TIME = (
    r"(?:(?P<hour>99?)(?:[:.h](?P<minute>99)(?:[:.](?P<second>99)(?P<rest>[.,]9+)?)?)?"
    r"|(?P<hours>99?)(?P<minutes>99))\s*(?P<half>[ap]\.?m\.?)?(?:\s*(?:h|hrs?|hours?|uhr))?"
)
_THEN = r"(?:(?:t|,?\s+(?:at\s+|@\s*)?|\s*@\s*|\s+-\s+)" + _TIME + r"(?:\s*(?:z|utc|gmt|[+-]99:?99))?)?"
_DAY_NUMBER = re.compile(r"(?P<day>99999)(?:[.,](?P<part>9{1,9}))?")
_DATES = (
    re.compile(rf"{_WEEKDAY}(?P<year>9999)(?P<gap>[-/. ])(?P<month>99?)(?P=gap)(?P<day>99?){_THEN}"),
    re.compile(rf"(?P<year>9999)(?P<month>99)(?P<day>99){_THEN}"),
    re.compile(rf"{_WEEKDAY}(?P<first>99?)(?P<gap>[-/. ]|\. )(?P<second_>99?)(?P=gap)(?P<year>9999|'?99){_THEN}"),
    re.compile(rf"{_WEEKDAY}(?P<day>99?)(?:st|nd|rd|th)?(?:{_GAP}|\s+of\s+)?(?P<name>{_NAME})\.?(?:{_GAP})?(?P<year>9999|99){_THEN}"),
    re.compile(rf"{_WEEKDAY}(?P<name>{_NAME})\.?(?:{_GAP})?(?P<day>99?)(?:st|nd|rd|th)?(?:{_GAP})(?P<year>9999|99){_THEN}"),
    re.compile(rf"(?P<year>9999)(?:{_GAP})?(?P<name>{_NAME})\.?(?:{_GAP})?(?P<day>99?){_THEN}"),
)  # fmt: skip
CLOCK = re.compile(_TIME)


@dataclass(frozen=True, eq=False)
class DatePart:
    """The numbers of one pattern's words; arrays of shape (words,).

    ``year`` is whole; ``gap`` is what stands between numbers. Where ``is_open`` is true, ``first`` and ``second`` are
    day and month in an order that the pattern does not show; else ``first`` is the day and ``second`` the month.
    ``seconds`` [s] is None without a clock and NaN where the clock is none. ``words`` says how the date is written.
    """

    year: Ints
    first: Ints
    second: Ints
    is_open: bool
    has_short_year: bool
    seconds: Floats | None
    words: str
    gap: str = ""


def date_part(pattern: Pattern) -> DatePart | None:
    """Return the numbers of a pattern that is a date, with or without a time of day; None where it is none."""
    for written in _DATES:
        found = written.fullmatch(pattern.text)
        if found:
            return _read(pattern, found)
    return None


def day_numbers(pattern: Pattern) -> Floats | None:
    """Return the days that a spreadsheet counts, where a pattern's words are such numbers (46085.5); else None."""
    found = _DAY_NUMBER.fullmatch(pattern.text)
    if found is None:
        return None
    days = pattern.number(*found.span("day")).astype(np.float64)
    if found["part"]:
        days += pattern.number(*found.span("part")) / 10.0 ** len(found["part"])
    return days


def _read(pattern: Pattern, found: re.Match[str]) -> DatePart:
    groups = found.re.groupindex
    start, end = found.span("year")
    has_short_year = end - start < 4
    year = pattern.number(end - 2 if has_short_year else start, end)
    if has_short_year:
        year = year + np.where(year < 70, 2000, 1900)
    if "name" in groups:
        day = pattern.number(*found.span("day"))
        month, is_open, words = np.full_like(day, _MONTH_OF[found["name"]]), False, "named month"
    elif "first" in groups:
        day, month = pattern.number(*found.span("first")), pattern.number(*found.span("second_"))
        is_open, words = True, "numbers"
    else:
        day, month = pattern.number(*found.span("day")), pattern.number(*found.span("month"))
        is_open, words = False, "year-month-day"
    seconds = clock_seconds(pattern, found) if found["hour"] or found["hours"] else None
    gap = found["gap"] if "gap" in groups else ""
    return DatePart(year, day, month, is_open, has_short_year, seconds, words, gap)


def clock_seconds(pattern: Pattern, found: re.Match[str]) -> Floats:
    """Return the time of day [s since midnight] of a pattern's words, NaN where the numbers are no time of day."""
    hour = pattern.number(*found.span("hour" if found["hour"] else "hours"))
    name = "minute" if found["minute"] else "minutes" if found["minutes"] else ""
    minute = pattern.number(*found.span(name)) if name else np.zeros_like(hour)
    second = pattern.number(*found.span("second")) if found["second"] else np.zeros_like(hour)
    is_clock = (minute < 60) & (second < 60)
    if found["half"]:
        is_clock &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + (12 if found["half"].startswith("p") else 0)
    elif not name:
        is_clock &= False  # "9" alone is no time of day
    is_clock &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
    return np.where(is_clock, hour * 3600.0 + minute * 60.0 + second, np.nan)


def days_from(year: Ints, month: Ints, day: Ints) -> npt.NDArray[np.datetime64]:
    """Return the days, NaT where there is no such day."""
    is_month = (month >= 1) & (month <= 12) & (year >= 1900) & (year <= 2199)
    months = np.where(is_month, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1).astype("timedelta64[D]")
    is_day = is_month & (day >= 1) & (days < (months + 1).astype("datetime64[D]"))
    return np.where(is_day, days, np.datetime64("NaT", "D"))
