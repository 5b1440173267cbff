"""At what time of day did it happen, how long did it take, and which moment do a date and a clock make together?"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pyarrow.compute as pc

from analysis.records.cells import CLOCK, EMPTY, ERROR, MOMENT, NUMBER, TEXT, RawColumn
from analysis.records.date_patterns import CLOCK as CLOCK_PATTERN
from analysis.records.date_patterns import clock_seconds
from analysis.records.digit_patterns import patterns_of
from analysis.records.missing import NO_VALUE, is_missing, plain
from analysis.records.numbers import parse_numbers
from analysis.records.parsed import Flags, Floats, Moments, ParsedClocks, ParsedMoments, State, States

__all__ = ["across_midnight", "combine_clock", "parse_clocks", "parse_minutes"]

_DAY = 86_400.0
_NAMED = {"noon": 43_200.0, "midday": 43_200.0, "midnight": 0.0}
# Minutes need their unit unless hours stand before them ("1h30").
_DURATION = re.compile(
    r"""
    (?: (?P<days>\d+(?:[.,]\d+)?) \s* (?:d|days?)\b )? \s*
    (?: (?P<hours>\d+(?:[.,]\d+)?) \s* (?:h|hrs?|hours?)(?![a-z]) )? \s*
    (?: (?P<minutes>\d+(?:[.,]\d+)?)(?!\d) \s* (?(hours)(?:m|mins?|minutes?|')?|(?:m|mins?|minutes?|')) )? \s*
    (?: (?P<seconds>\d+) \s* (?:s|secs?|seconds?|\") )? \.?
    """,
    re.IGNORECASE | re.VERBOSE,
)
_HOURS_AND_MINUTES = re.compile(
    r"(?P<hours>\d{1,3}):(?P<minutes>[0-5]\d)(?::(?P<seconds>[0-5]\d))?(?:\s*h(?:rs?|ours?)?)?"
)


def parse_clocks(column: RawColumn) -> ParsedClocks:
    """Read a column as times of day [s since midnight].

    "14:30", "14.30", "2.30pm", "2pm", "1430", "noon"; a native time; the time of a native moment; a fraction of a day
    (0.604) as a spreadsheet keeps it; 1430 as a number. A bare "9", and 14.5 as a number, are UNREADABLE: they could be
    hours, or a clock written with a point.
    """
    words = column.words
    n = len(words) + 1
    seconds, state = np.full(n, np.nan), np.full(n, State.UNREADABLE, dtype=np.int8)
    state[-1] = State.EMPTY
    for pattern in patterns_of(words):
        found = CLOCK_PATTERN.fullmatch(pattern.text)
        if found:
            seconds[pattern.places] = clock_seconds(pattern, found)
    for place in np.flatnonzero(np.isnan(seconds[:-1])):
        text = words[int(place)].as_py()
        seconds[place] = _NAMED.get(plain(text), np.nan)
        if is_missing([text], NO_VALUE)[0]:
            state[place] = State.MISSING
    state[~np.isnan(seconds)] = State.READ
    return _with_natives(column, seconds[column.code], state[column.code])


def parse_minutes(column: RawColumn, decimal: str | None = None, minutes_in_unit: float = 1.0) -> ParsedClocks:
    """Read a column as durations, in seconds.

    A bare number counts units of ``minutes_in_unit`` [min]; "1:30" and a native time are hours and minutes; "90 min",
    "1.5 h", "1h30" and "2 days" say their unit.

    Parameters
    ----------
    column : RawColumn, n rows
    decimal : {".", ","}, optional
        The sheet's decimal sign.
    minutes_in_unit : float
        What one unit of a bare number is [min]: 60 under a header in hours.
    """
    numbers = parse_numbers(column, decimal)
    n = len(column.words) + 1
    seconds, known = np.full(n, np.nan), np.zeros(n, dtype=bool)
    for place in np.flatnonzero(pc.match_substring_regex(column.words, "[a-zA-Z:'\"]").to_numpy(zero_copy_only=False)):
        read = _duration(column.words[int(place)].as_py())
        seconds[place], known[place] = read, not np.isnan(read)
    code = column.code
    bare = numbers.value * minutes_in_unit * 60.0
    value = np.where(known[code], seconds[code], np.where(numbers.unit_code < 0, bare, np.nan))
    is_clock = column.tag == CLOCK
    value = np.where(is_clock, column.number, value)
    unread = np.where(numbers.state == State.READ, np.int8(State.UNREADABLE), numbers.state)
    return ParsedClocks(value, np.where(np.isnan(value), unread, np.int8(State.READ)))


def combine_clock(dates: ParsedMoments, clocks: ParsedClocks) -> ParsedMoments:
    """Return the moments that a column of dates and a column of clock times make together.

    A date without a clock time stays a date; a date that has its own time keeps it where the clock says nothing; a
    clock that cannot be read makes the moment UNREADABLE. A time of 24:00 and more runs into the next day.
    """
    days = dates.moment.astype("datetime64[D]").astype("datetime64[us]")
    has_clock = clocks.state == State.READ
    since_midnight = np.where(has_clock, clocks.seconds, 0.0)
    joined = days + np.round(since_midnight * 1e6).astype("timedelta64[us]")
    moment = np.where(has_clock, joined, dates.moment)
    wrong = (dates.state == State.READ) & np.isin(clocks.state, (State.UNREADABLE, State.AMBIGUOUS))
    moment = np.where(wrong, np.datetime64("NaT", "us"), moment)
    state = np.where(wrong, np.int8(State.UNREADABLE), dates.state)
    return ParsedMoments(moment, state, dates.has_clock | has_clock, dates.format, dates.order, dates.question)


def across_midnight(started: Moments, ended: Moments, has_own_date: Flags | bool = False) -> tuple[Moments, Flags]:
    """Return the ends, a day later where a clock time alone put an end before its start, and where that was done.

    Parameters
    ----------
    started, ended : array of datetime64[us], shape (n,)
    has_own_date : array of bool, shape (n,), or bool
        Where the end's date was written and not taken from the start: such an end stays as it is.
    """
    crosses = (ended < started) & (ended + np.timedelta64(1, "D") >= started) & ~np.asarray(has_own_date, dtype=bool)
    return np.where(crosses, ended + np.timedelta64(86_400_000_000, "us"), ended), crosses


def _duration(text: str) -> float:
    clock = _HOURS_AND_MINUTES.fullmatch(text)
    if clock:
        return int(clock["hours"]) * 3600.0 + int(clock["minutes"]) * 60.0 + int(clock["seconds"] or 0)
    found = _DURATION.fullmatch(text)
    if found is None or not any(found.groups()) or text.strip().isdigit():
        return float("nan")
    days, hours, minutes, seconds = (float((part or "0").replace(",", ".")) for part in found.groups())
    return days * _DAY + hours * 3600.0 + minutes * 60.0 + seconds


def _with_natives(column: RawColumn, seconds: Floats, state: States) -> ParsedClocks:
    tag = column.tag
    if bool(((tag == TEXT) | (tag == EMPTY)).all()):
        return ParsedClocks(seconds, state)
    native = np.full(7, State.UNREADABLE, dtype=np.int8)
    native[[EMPTY, ERROR]] = State.EMPTY, State.MISSING
    seconds = np.where(tag == CLOCK, column.number, seconds)
    moment = column.moment
    of_moment = (moment - moment.astype("datetime64[D]")) / np.timedelta64(1, "s")
    seconds = np.where(tag == MOMENT, of_moment, seconds)
    seconds = np.where(tag == NUMBER, _of_numbers(column.number), seconds)
    state = np.where(tag == TEXT, state, native[tag])
    return ParsedClocks(seconds, np.where(np.isnan(seconds), state, np.int8(State.READ)))


def _of_numbers(number: Any) -> Floats:
    """Read 0.604 as a part of a day and 1430 as a clock; any other number as none."""
    hours, minutes = np.divmod(np.where(np.isnan(number), 0.0, number), 100.0)
    is_four_digits = (number >= 100) & (hours < 24) & (minutes < 60) & (minutes == np.floor(minutes))
    of_four_digits = np.where(is_four_digits, hours * 3600.0 + minutes * 60.0, np.nan)
    return np.where((number >= 0) & (number < 1), np.round(number * _DAY), of_four_digits)
