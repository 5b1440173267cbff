"""Is every way to write a time of day and a duration read, and do a date and a clock make one moment?"""

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.cells import BOOL, CLOCK, ERROR, MOMENT, NUMBER, RawColumn
from analysis.records.parsing import (
    State,
    across_midnight,
    combine_clock,
    parse_clocks,
    parse_minutes,
    parse_moments,
)


def texts(*cells):
    return RawColumn.of_texts(cells)


def natives(*cells):
    """A column of native cells: (tag, value)."""
    n = len(cells)
    moment = np.full(n, np.datetime64("NaT", "us"))
    number = np.full(n, np.nan)
    for i, (tag, value) in enumerate(cells):
        if tag == MOMENT:
            moment[i] = value
        elif value is not None:
            number[i] = value
    tags = np.array([tag for tag, _ in cells], dtype=np.int8)
    return RawColumn(tags, np.full(n, -1, dtype=np.int32), texts().words, number, moment)


@pytest.mark.parametrize(
    ("text", "hours"),
    [("14:30", 14.5), ("14.30", 14.5), ("2.30pm", 14.5), ("2:30 PM", 14.5), ("1430", 14.5), ("14h30", 14.5),
     ("2pm", 14.0), ("2 p.m.", 14.0), ("12am", 0.0), ("12pm", 12.0), ("12:30am", 0.5), ("0930", 9.5), ("930", 9.5),
     ("9:30", 9.5), ("08:15:30", 8 + 15.5 / 60), ("noon", 12.0), ("Midnight", 0.0), ("24:00", 24.0), ("00:00", 0.0),
     ("14:30 hrs", 14.5), ("1430h", 14.5)],
)  # fmt: skip
def test_a_time_of_day_is_read(text, hours):
    read = parse_clocks(texts(text))
    assert read.state[0] == State.READ
    assert read.seconds[0] == pytest.approx(hours * 3600)


@pytest.mark.parametrize(
    "text", ["9", "25:00", "14:75", "14.5", "13pm", "late", "12:5", "2400h5", "0pm", "1475", "24:01"]
)
def test_what_is_no_time_of_day_is_not_made_one(text):
    read = parse_clocks(texts(text))
    assert read.state[0] == State.UNREADABLE
    assert np.isnan(read.seconds[0])


def test_missing_and_empty_clocks_are_told_apart():
    assert list(parse_clocks(texts("n/a", None, "-", "14:30")).state) == [
        State.MISSING, State.EMPTY, State.MISSING, State.READ,
    ]  # fmt: skip


def test_native_clocks():
    read = parse_clocks(natives(
        (CLOCK, 52_200.0), (MOMENT, np.datetime64("2026-03-04T14:30")), (NUMBER, 14.5 / 24), (NUMBER, 1430.0),
        (NUMBER, 0.0), (NUMBER, 14.3), (NUMBER, 9.0), (NUMBER, 1475.0),
        (NUMBER, -0.5), (BOOL, 1.0), (ERROR, None), (0, None),
    ))  # fmt: skip
    assert list(read.seconds[:5]) == [52_200.0] * 4 + [0.0]
    assert np.isnan(read.seconds[5:]).all()
    assert list(read.state[5:]) == [State.UNREADABLE] * 5 + [State.MISSING, State.EMPTY]


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("90", 90), ("90 min", 90), ("90mins", 90), ("1.5 h", 90), ("1,5 hrs", 90), ("1h30", 90), ("1h 30m", 90),
     ("1 hour 30 minutes", 90), ("1:30", 90), ("01:30:00", 90), ("2 days", 2880), ("1 d 2 h", 1560), ("30'", 30),
     ("90 s", 1.5), ("0", 0), ("~90", 90), ("100:00", 6000)],
)  # fmt: skip
def test_a_duration_is_read(text, minutes):
    read = parse_minutes(texts(text))
    assert read.state[0] == State.READ
    assert read.seconds[0] == pytest.approx(minutes * 60)


@pytest.mark.parametrize("text", ["a while", "1:75", "90 ppb", "-", "n/a", "30-40"])
def test_what_is_no_duration_is_not_made_one(text):
    read = parse_minutes(texts(text))
    assert read.state[0] in (State.UNREADABLE, State.MISSING)
    assert np.isnan(read.seconds[0])


def test_a_bare_number_counts_the_units_of_its_header():
    assert list(parse_minutes(texts("1,5", "2"), ",", 60.0).seconds) == [5400.0, 7200.0]
    read = parse_minutes(natives((NUMBER, 1.5), (CLOCK, 5400.0), (ERROR, None)), None, 60.0)
    assert list(read.seconds[:2]) == [5400.0, 5400.0]
    assert list(read.state) == [State.READ, State.READ, State.MISSING]


def test_a_date_and_a_clock_make_one_moment():
    dates = parse_moments(texts("2026-03-04", "2026-03-04", "2026-03-04", None, "2026-03-04 08:00", "2026-03-04"))
    clocks = parse_clocks(texts("14:30", None, "late", "14:30", "n/a", "24:00"))
    made = combine_clock(dates, clocks)
    assert [None if np.isnat(moment) else str(moment)[:16] for moment in made.moment] == [
        "2026-03-04T14:30", "2026-03-04T00:00", None, None, "2026-03-04T08:00", "2026-03-05T00:00",
    ]  # fmt: skip
    assert list(made.has_clock) == [True, False, False, True, True, True]
    assert list(made.state) == [State.READ, State.READ, State.UNREADABLE, State.EMPTY, State.READ, State.READ]


def test_an_end_before_its_start_crosses_midnight():
    started = np.array(["2026-03-04T22:30", "2026-03-04T08:00", "2026-03-04T08:00", "NaT"], dtype="datetime64[us]")
    ended = np.array(["2026-03-04T01:15", "2026-03-04T09:00", "NaT", "2026-03-04T01:00"], dtype="datetime64[us]")
    mended, crosses = across_midnight(started, ended)
    assert list(mended.astype(object)) == [
        datetime(2026, 3, 5, 1, 15),
        datetime(2026, 3, 4, 9),
        None,
        datetime(2026, 3, 4, 1),
    ]
    assert list(crosses) == [True, False, False, False]


def test_an_end_with_a_date_of_its_own_stays():
    started = np.array(["2026-03-04T22:30", "2026-03-04T22:30"], dtype="datetime64[us]")
    ended = np.array(["2026-03-04T01:15", "2026-03-04T01:15"], dtype="datetime64[us]")
    mended, crosses = across_midnight(started, ended, np.array([True, False]))
    assert list(crosses) == [False, True]
    assert mended[0] == ended[0]


@given(st.integers(0, 1439), st.integers(1, 1439))
def test_a_rouse_of_less_than_a_day_keeps_its_length(start, length):
    day = np.datetime64("2026-03-04", "us")
    started = day + np.array([start]).astype("timedelta64[m]")
    by_clock = day + np.array([(start + length) % 1440]).astype("timedelta64[m]")
    ended, _ = across_midnight(started, by_clock)
    assert (ended - started) / np.timedelta64(1, "m") == [length]


@given(st.lists(st.text(max_size=10), max_size=30))
def test_no_text_breaks_the_reading_of_clocks(cells):
    for read in (parse_clocks(texts(*cells)), parse_minutes(texts(*cells))):
        assert (np.isnan(read.seconds) == (read.state != State.READ)).all()
