"""Which day or moment stands in each cell, in one order of day and month for the whole column?

03/04/2026 is 3 April or 4 March. All cells of a column decide together: a cell such as 25/04/2026 fits one order alone.
Where both fit every cell the column says so and no cell is read, until a person answers; nothing is guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow.compute as pc

from analysis.records.cells import EMPTY, ERROR, MOMENT, NUMBER, TEXT, RawColumn
from analysis.records.date_patterns import DatePart, date_part, day_numbers, days_from
from analysis.records.digit_patterns import patterns_of
from analysis.records.missing import NO_VALUE, is_missing
from analysis.records.parsed import DATE_ORDERS, DateOrder, DateQuestion, Flags, Moments, ParsedMoments, State, States

__all__ = ["parse_dates", "parse_moments", "without_years"]

_NO_MOMENT = np.datetime64("NaT", "us")
_DAY = np.timedelta64(86_400_000_000, "us")
# A few cells against the order of many are slips of the pen, not a second order.
_MANY_FOR_ONE = 50
# Day numbers of 1990-01-01 and 2080-01-01 in a spreadsheet that counts from 1900.
_FIRST_DAY_NUMBER, _LAST_DAY_NUMBER = 32_874, 65_745
_DAY_ZERO = np.datetime64("1899-12-30", "us")
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_NO_YEAR = (
    rf"(?i)^(?:[0-9]{{1,2}}(?:st|nd|rd|th)?[ .-]*{_MONTH}\.?|{_MONTH}\.?[ -]*[0-9]{{1,2}}(?:st|nd|rd|th)?"
    r"|[0-9]{1,2}[./][0-9]{1,2}\.?)$"
)
_DAY_NUMBERS = "the spreadsheet's day numbers"
_YEARS_OF_A_LOG, _FIRST_LIKELY_YEAR, _MANY_DATES = 5, 2010, 12
_FEW_TEXTS, _FEW_DATES = 2, 3


@dataclass(eq=False)
class _Words:
    """What was read out of a column's words: one entry a word, and a last one for cells without a word.

    ``year_first`` is 4 March 2026 for 26-03-04, NaT where the year has four digits.
    """

    day_month: Moments
    month_day: Moments
    year_first: Moments
    state: States
    is_open: Flags
    has_clock: Flags
    written: set[str]
    has_hyphens: bool = False


def without_years(column: RawColumn) -> Flags:
    """Return which cells hold a day and a month alone ("3 April", "3.4."), shape (n,)."""
    found = pc.match_substring_regex(column.words, _NO_YEAR).to_numpy(zero_copy_only=False).astype(bool)
    return np.asarray(np.append(found, False)[column.code])


def parse_moments(column: RawColumn, order: DateOrder | None = None) -> ParsedMoments:
    """Read a column as moments: a date with or without a time of day.

    Native dates stand as they are. Text is read as year-month-day, as a date with a month's name, or as numeric dates
    in one order for the whole column. A bare number between 1990 and 2080 as a spreadsheet counts days is such a day.

    Parameters
    ----------
    column : RawColumn, n rows
    order : {"day-month", "month-day", "year-month-day"}, optional
        A person's answer. Cells that do not fit it are UNREADABLE.

    Raises
    ------
    ValueError
        If ``order`` is another word.
    """
    if order is not None and order not in DATE_ORDERS:
        raise ValueError(f"parse_moments: order must be {', '.join(DATE_ORDERS)} or None, got {order!r}")
    words = _read_words(column.words)
    native = column.tag == MOMENT
    question: DateQuestion | None = None
    decided = order
    if words.is_open.any() and not order:
        decided, question = _year_first(words, column.code) or _decide(words, column.code)
    turned = _is_turned(words, column, native)
    if turned and not order:
        question = "turned"
    moment, state = _settle(words, decided, question)
    moments, states = moment[column.code].copy(), state[column.code].copy()
    _add_natives(column, moments, states)
    if turned and (order is None or np.isnat(words.day_month[words.is_open]).all() == (order == "month-day")):
        _turn(moments, states, native, order)
    has_clock = np.where(column.tag == TEXT, words.has_clock[column.code], _has_clock(moments))
    return ParsedMoments(moments, states, has_clock, _format(words, decided, column), decided, question)


def parse_dates(column: RawColumn, order: DateOrder | None = None) -> ParsedMoments:
    """Read a column as days: as ``parse_moments``, with any time of day taken off."""
    read = parse_moments(column, order)
    days = read.moment.astype("datetime64[D]").astype("datetime64[us]")
    return ParsedMoments(days, read.state, np.zeros(len(days), dtype=bool), read.format, read.order, read.question)


def _read_words(words: Any) -> _Words:
    n = len(words) + 1
    read = _Words(
        np.full(n, _NO_MOMENT), np.full(n, _NO_MOMENT), np.full(n, _NO_MOMENT),
        np.full(n, State.UNREADABLE, dtype=np.int8), np.zeros(n, dtype=bool), np.zeros(n, dtype=bool), set(),
    )  # fmt: skip
    read.state[-1] = State.EMPTY
    known = np.zeros(n, dtype=bool)
    known[-1] = True
    for pattern in patterns_of(words):
        part = date_part(pattern)
        days = day_numbers(pattern)
        if part is not None:
            _keep(read, pattern.places, part)
        elif days is not None:
            _keep_day_numbers(read, pattern.places, days)
        known[pattern.places] = part is not None or days is not None
    others = np.flatnonzero(~known)
    absent = is_missing([words[int(i)].as_py() for i in others], NO_VALUE)
    read.state[others[absent]] = State.MISSING
    return read


def _keep(read: _Words, places: npt.NDArray[np.intp], part: DatePart) -> None:
    clock = np.zeros(len(places)) if part.seconds is None else part.seconds

    def moments(days: npt.NDArray[np.datetime64]) -> Moments:
        microseconds = np.where(np.isnan(clock), 0, clock * 1e6).astype("timedelta64[us]")
        return np.where(np.isnan(clock), _NO_MOMENT, days.astype("datetime64[us]") + microseconds)

    read.day_month[places] = moments(days_from(part.year, part.second, part.first))
    read.month_day[places] = read.day_month[places]
    if part.is_open:
        read.month_day[places] = moments(days_from(part.year, part.first, part.second))
    if part.is_open and part.has_short_year:
        read.year_first[places] = moments(days_from(2000 + part.first, part.second, part.year % 100))
    read.is_open[places] = part.is_open
    read.has_clock[places] = part.seconds is not None
    read.written.add(part.words)
    read.has_hyphens |= part.gap == "-"


def _keep_day_numbers(read: _Words, places: npt.NDArray[np.intp], days: npt.NDArray[np.float64]) -> None:
    moments = _of_day_numbers(days)
    read.day_month[places] = read.month_day[places] = moments
    read.has_clock[places] = _has_clock(moments)
    read.written.add(_DAY_NUMBERS)


def _has_clock(moments: Moments) -> Flags:
    return np.asarray(~np.isnat(moments) & (moments != moments.astype("datetime64[D]")), dtype=bool)


def _of_day_numbers(numbers: npt.NDArray[np.float64]) -> Moments:
    """Return the moments of day numbers, and of a native number such as 20260304; NaT for any other number."""
    numbers = np.where(np.isnan(numbers), 0.0, numbers)
    is_day = (numbers >= _FIRST_DAY_NUMBER) & (numbers < _LAST_DAY_NUMBER)
    seconds = np.round(np.where(is_day, numbers, 0.0) * 86_400).astype("timedelta64[s]")
    whole = np.where((numbers == np.floor(numbers)) & (numbers < 1e8), numbers, 0.0).astype(np.int64)
    written = days_from(whole // 10_000, whole // 100 % 100, whole % 100).astype("datetime64[us]")
    return np.where(is_day, _DAY_ZERO + seconds, written)


def _year_first(words: _Words, code: npt.NDArray[np.int32]) -> tuple[DateOrder | None, DateQuestion | None] | None:
    """Return whether dates such as 26-03-04 begin with their year, None where they do not.

    They do where the cells fit and many dates that ended with their years would jump over more than five of them,
    while with the years in front they jump over no more. Where few do, or where hyphens or years before 2010 speak for
    a year in front, a person must say.
    """
    used = np.bincount(code[code >= 0], minlength=len(words.state)) > 0
    is_open = words.is_open & used
    if not is_open.any() or np.isnat(words.year_first[is_open]).mean() > 1 / _MANY_FOR_ONE:
        return None
    ending = np.where(np.isnat(words.day_month), words.month_day, words.day_month)[is_open]
    ending_years, leading_years = _years(ending), _years(words.year_first[is_open])
    if np.ptp(leading_years) > _YEARS_OF_A_LOG:
        return None
    is_likely = leading_years.min() >= _FIRST_LIKELY_YEAR
    jumps = len(ending_years) == 0 or np.ptp(ending_years) > _YEARS_OF_A_LOG
    if jumps and is_likely and len(leading_years) >= _MANY_DATES:
        return "year-month-day", None
    varies_no_more = len(np.unique(leading_years)) <= len(np.unique(ending_years))
    is_old = len(ending_years) == 0 or ending_years.max() < _FIRST_LIKELY_YEAR
    return (None, "years") if jumps or (varies_no_more and ((is_old and is_likely) or words.has_hyphens)) else None


def _years(moments: Moments) -> npt.NDArray[np.int64]:
    return moments[~np.isnat(moments)].astype("datetime64[Y]").astype(np.int64) + 1970


def _decide(words: _Words, code: npt.NDArray[np.int32]) -> tuple[DateOrder | None, DateQuestion | None]:
    """Return the order that the column's cells show, or why they show none."""
    counts = np.bincount(code[code >= 0], minlength=len(words.state))
    as_day_month, as_month_day = ~np.isnat(words.day_month), ~np.isnat(words.month_day)
    only_day_month = counts[words.is_open & as_day_month & ~as_month_day].sum()
    only_month_day = counts[words.is_open & as_month_day & ~as_day_month].sum()
    if only_day_month > _MANY_FOR_ONE * only_month_day:
        return "day-month", None
    if only_month_day > _MANY_FOR_ONE * only_day_month:
        return "month-day", None
    if only_day_month:
        return None, "mixed"
    either = words.is_open & as_day_month & as_month_day & (words.day_month != words.month_day) & (counts > 0)
    return None, "order" if either.any() else None


def _settle(words: _Words, decided: DateOrder | None, question: DateQuestion | None) -> tuple[Moments, States]:
    of_order = {"month-day": words.month_day, "year-month-day": words.year_first}
    moment = np.where(words.is_open, of_order.get(decided or "", words.day_month), words.day_month)
    state = words.state.copy()
    if question in ("order", "mixed"):
        differ = (
            words.is_open
            & (words.day_month != words.month_day)
            & ~np.isnat(words.day_month)
            & ~np.isnat(words.month_day)
        )
        one_alone = words.is_open & np.isnat(words.day_month)
        moment[one_alone] = words.month_day[one_alone]
        moment[differ] = _NO_MOMENT
        state[differ] = State.AMBIGUOUS
    if question == "years":
        moment[words.is_open], state[words.is_open] = _NO_MOMENT, State.AMBIGUOUS
    state[~np.isnat(moment)] = State.READ
    return moment, state


def _is_turned(words: _Words, column: RawColumn, native: Flags) -> bool:
    """Tell whether the spreadsheet program turned round day and month wherever the day is at most 12.

    It leaves as text the dates that do not fit its own order. The sign: every text date fits one order alone, and no
    native date has a day above 12.
    """
    days = np.unique(column.moment[native].astype("datetime64[D]"))
    if len(days) < _FEW_DATES:
        return False
    day_of_month = (days - days.astype("datetime64[M]")).astype(np.int64) + 1
    used = np.bincount(column.code[column.code >= 0], minlength=len(words.state)) > 0
    texts = words.is_open & used & ~(np.isnat(words.day_month) & np.isnat(words.month_day))
    one_alone = np.isnat(words.day_month) ^ np.isnat(words.month_day)
    return bool(texts.sum() >= _FEW_TEXTS and one_alone[texts].all() and (day_of_month <= 12).all())


def _turn(moments: Moments, states: States, native: Flags, order: DateOrder | None) -> None:
    """Without an answer leave the native dates unread; with one, turn them back."""
    if order is None:
        moments[native], states[native] = _NO_MOMENT, State.AMBIGUOUS
        return
    held = moments[native]
    days = held.astype("datetime64[D]")
    months = days.astype("datetime64[M]")
    year = months.astype("datetime64[Y]").astype(np.int64) + 1970
    month = months.astype(np.int64) % 12 + 1
    day = (days - months).astype(np.int64) + 1
    moments[native] = days_from(year, day, month).astype("datetime64[us]") + (held - days)


def _add_natives(column: RawColumn, moments: Moments, states: States) -> None:
    tag = column.tag
    if bool(((tag == TEXT) | (tag == EMPTY)).all()):
        return
    native = np.full(7, State.UNREADABLE, dtype=np.int8)
    native[[MOMENT, EMPTY, ERROR]] = State.READ, State.EMPTY, State.MISSING
    states[:] = np.where(tag == TEXT, states, native[tag])
    moments[tag == MOMENT] = column.moment[tag == MOMENT]
    is_number = tag == NUMBER
    if is_number.any():
        moments[is_number] = _of_day_numbers(column.number[is_number])
        states[is_number] = np.where(np.isnat(moments[is_number]), native[NUMBER], np.int8(State.READ))


def _format(words: _Words, decided: DateOrder | None, column: RawColumn) -> str:
    names = {
        "day-month": "day/month/year", "month-day": "month/day/year", "year-month-day": "year-month-day",
        None: "day and month in either order",
    }  # fmt: skip
    said = list(dict.fromkeys(names[decided] if form == "numbers" else form for form in sorted(words.written)))
    if (column.tag == MOMENT).any():
        said.append("the spreadsheet's own dates")
    if (column.tag == NUMBER).any() and _DAY_NUMBERS not in said:
        said.append(_DAY_NUMBERS)
    return ", ".join(said)
