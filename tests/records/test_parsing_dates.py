"""Is a column of dates read in one order that its own cells show, and asked about where they show none?"""

from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.cells import CLOCK, ERROR, MOMENT, NUMBER, RawColumn
from analysis.records.parsing import State, parse_dates, parse_moments


def texts(*cells):
    return RawColumn.of_texts(cells)


def mixed(cells):
    """A column of native dates (datetime), day numbers (float) and texts."""
    n = len(cells)
    column = RawColumn.of_texts([cell if isinstance(cell, str) else None for cell in cells])
    tag, number = column.tag.copy(), np.full(n, np.nan)
    moment = np.full(n, np.datetime64("NaT", "us"))
    for i, cell in enumerate(cells):
        if isinstance(cell, datetime):
            tag[i], moment[i] = MOMENT, np.datetime64(cell)
        elif isinstance(cell, float):
            tag[i], number[i] = NUMBER, cell
    return RawColumn(tag, column.code, column.words, number, moment)


def days(read):
    return [None if np.isnat(moment) else str(moment)[:10] for moment in read.moment]


def moments(read):
    return [None if np.isnat(moment) else str(moment)[:16] for moment in read.moment]


@pytest.mark.parametrize(
    "text",
    ["2026-03-04", "2026/3/4", "2026.03.04", "20260304", "4 Mar 2026", "4-Mar-26", "04-MAR-2026", "4 March 2026",
     "Mar 4, 2026", "March 4th, 2026", "4th March 2026", "4th of March 2026", "Wed 4 Mar 2026",
     "Wednesday, 4 March 2026", "2026-Mar-04", "4. March 2026",
     "04MAR2026", "4/Mar/2026", "2026-03-04T00:00:00", "Weds 4 Mar 26", "4 Mar '26"],
)  # fmt: skip
def test_a_date_that_reads_one_way_is_read_so(text):
    read = parse_moments(texts(text))
    assert days(read) == ["2026-03-04"]
    assert (read.order, read.question) == (None, None)


@pytest.mark.parametrize(
    ("text", "clock"),
    [("2026-03-04 14:30", "14:30"), ("2026-03-04T14:30:05", "14:30"), ("2026-03-04T14:30Z", "14:30"),
     ("2026-03-04 14:30:05.123", "14:30"), ("4 Mar 2026 at 2.30pm", "14:30"), ("4 Mar 2026, 2:30 pm", "14:30"),
     ("4 Mar 2026 14h30", "14:30"), ("4 Mar 2026 1430", "14:30"), ("20260304 1430", "14:30"),
     ("4 Mar 2026 12:15 am", "00:15"), ("4 Mar 2026 12.15pm", "12:15"), ("2026-03-04 00:00", "00:00"),
     ("2026-03-04 14:30+01:00", "14:30"), ("4 Mar 2026 @ 14:30", "14:30"), ("4 Mar 2026 - 14:30", "14:30")],
)  # fmt: skip
def test_a_date_with_a_clock_is_a_moment(text, clock):
    read = parse_moments(texts(text))
    assert moments(read) == [f"2026-03-04T{clock}"]
    assert read.has_clock[0]
    assert days(parse_dates(texts(text))) == ["2026-03-04"]
    assert moments(parse_dates(texts(text))) == ["2026-03-04T00:00"]


@pytest.mark.parametrize(
    "text",
    ["2026-02-30", "2026-13-01", "31/04/2026", "0/5/2026", "4 Mar", "March 2026", "2026", "1430", "yesterday", "P40",
     "4 Foo 2026", "2026-03-04 25:00", "2026-03-04 14:75", "32 Mar 2026", "1/2", "12.5", "2026-3",
     "4/3/026", "99/99/9999"],
)  # fmt: skip
def test_what_is_no_date_is_not_made_one(text):
    read = parse_moments(texts(text, "13/02/2026"))
    assert read.state[0] == State.UNREADABLE
    assert np.isnat(read.moment[0])


def test_one_cell_past_the_twelfth_decides_the_column():
    read = parse_moments(texts("03/04/2026", "25/04/2026", "1/5/26 14.30"))
    assert moments(read) == ["2026-04-03T00:00", "2026-04-25T00:00", "2026-05-01T14:30"]
    assert (read.order, read.question) == ("day-month", None)
    assert read.format == "day/month/year"
    american = parse_moments(texts("03/04/2026", "04/25/2026"))
    assert days(american) == ["2026-03-04", "2026-04-25"]
    assert american.order == "month-day"


def test_where_both_orders_fit_nothing_is_guessed():
    column = texts("03/04/2026", "05/04/2026", "03/03/2026", "2026-03-04", None, "n/a")
    read = parse_moments(column)
    assert read.question == "order"
    assert days(read) == [None, None, "2026-03-03", "2026-03-04", None, None]
    assert list(read.state) == [
        State.AMBIGUOUS, State.AMBIGUOUS, State.READ, State.READ, State.EMPTY, State.MISSING,
    ]  # fmt: skip


@pytest.mark.parametrize(("order", "first"), [("day-month", "2026-04-03"), ("month-day", "2026-03-04")])
def test_an_answer_settles_it(order, first):
    read = parse_moments(texts("03/04/2026", "05/04/2026"), order)
    assert days(read)[0] == first
    assert (read.order, read.question) == (order, None)


def test_an_answer_that_a_cell_does_not_fit_leaves_that_cell_unread():
    read = parse_moments(texts("03/04/2026", "25/04/2026"), "month-day")
    assert days(read) == ["2026-03-04", None]
    assert list(read.state) == [State.READ, State.UNREADABLE]


def test_dates_that_are_the_same_either_way_need_no_answer():
    read = parse_moments(texts("03/03/2026", "05/05/2026"))
    assert days(read) == ["2026-03-03", "2026-05-05"]
    assert read.question is None


def test_cells_of_both_orders_are_asked_about():
    read = parse_moments(texts("13/02/2026", "02/14/2026", "01/02/2026"))
    assert read.question == "mixed"
    assert days(read) == ["2026-02-13", "2026-02-14", None]
    assert read.state[2] == State.AMBIGUOUS


def test_one_slip_among_many_is_a_slip():
    many = [f"{day:02d}/{month:02d}/2026" for day in range(13, 29) for month in range(1, 13)]
    read = parse_moments(texts(*many, "02/30/2026", "02/28/2026", "03/04/2026"))
    assert (read.order, read.question) == ("day-month", None)
    assert days(read)[-3:] == [None, None, "2026-04-03"]
    assert read.state[-2] == State.UNREADABLE


def test_years_of_two_digits_turn_at_seventy():
    assert days(parse_dates(texts("25/04/26", "25/04/69", "25/04/70", "25.4.99"))) == [
        "2026-04-25", "2069-04-25", "1970-04-25", "1999-04-25",
    ]  # fmt: skip


def test_native_dates_stand_beside_texts():
    read = parse_moments(mixed([datetime(2026, 3, 4), datetime(2026, 3, 25, 14, 30), "26/03/2026", ""]))
    assert moments(read) == ["2026-03-04T00:00", "2026-03-25T14:30", "2026-03-26T00:00", None]
    assert list(read.has_clock) == [False, True, False, False]
    assert read.question is None
    assert "spreadsheet's own dates" in read.format


TURNED = [datetime(2026, 4, 3), datetime(2026, 5, 11), datetime(2026, 12, 1, 9, 30), "25/04/2026", "13/11/2026"]


def test_dates_that_the_spreadsheet_program_turned_round_are_asked_about():
    read = parse_moments(mixed(TURNED))
    assert read.question == "turned"
    assert days(read) == [None, None, None, "2026-04-25", "2026-11-13"]
    assert list(read.state[:3]) == [State.AMBIGUOUS] * 3


def test_an_answer_turns_them_back():
    read = parse_moments(mixed(TURNED), "day-month")
    assert moments(read) == [
        "2026-03-04T00:00", "2026-11-05T00:00", "2026-01-12T09:30", "2026-04-25T00:00", "2026-11-13T00:00",
    ]  # fmt: skip
    assert read.question is None


def test_day_numbers_of_a_spreadsheet_are_dates():
    read = parse_moments(mixed([46085.0, 46085.5, 12.0, 2026.0, 20260304.0]))
    assert moments(read)[:2] == ["2026-03-04T00:00", "2026-03-04T12:00"]
    assert list(read.has_clock[:2]) == [False, True]
    assert list(read.state[2:4]) == [State.UNREADABLE] * 2
    assert moments(read)[4] == "2026-03-04T00:00"


def test_a_day_number_written_as_text_is_a_date_too():
    assert moments(parse_moments(texts("46085", "46085.5", "46085,25", "2417"))) == [
        "2026-03-04T00:00", "2026-03-04T12:00", "2026-03-04T06:00", None,
    ]  # fmt: skip


def test_other_native_cells_are_no_dates():
    column = RawColumn(
        np.array([CLOCK, ERROR], dtype=np.int8), np.array([-1, -1], dtype=np.int32), texts().words,
        np.array([60.0, np.nan]), np.full(2, np.datetime64("NaT", "us")),
    )  # fmt: skip
    assert list(parse_moments(column).state) == [State.UNREADABLE, State.MISSING]


def test_an_unknown_order_is_refused():
    with pytest.raises(ValueError, match=r"order must be day-month, .* got 'dmy'"):
        parse_moments(texts("03/04/2026"), "dmy")


DAYS = st.dates(date(2000, 1, 1), date(2068, 12, 31))
FORMS = ["%Y-%m-%d", "%Y/%m/%d", "%d %b %Y", "%d-%b-%y", "%B %d, %Y", "%Y%m%d", "%a %d %b %Y", "%d.%b.%Y"]


@given(st.lists(DAYS, min_size=1, max_size=40), st.sampled_from(FORMS))
def test_forms_that_read_one_way_are_read_back(held, form):
    read = parse_dates(texts(*[day.strftime(form) for day in held]))
    assert days(read) == [day.isoformat() for day in held]
    assert read.question is None


@given(st.lists(DAYS, min_size=1, max_size=40), st.sampled_from(["%d/%m/%Y", "%d.%m.%y", "%m/%d/%Y", "%m-%d-%y"]))
def test_numeric_dates_are_read_back_or_asked_about_but_never_wrong(held, form):
    read = parse_dates(texts(*[day.strftime(form) for day in held]))
    expected = [day.isoformat() for day in held]
    assert all(found in (None, day) for found, day in zip(days(read), expected, strict=True))
    if form.endswith("Y"):
        is_open = any(day.day != day.month for day in held) and not any(day.day > 12 for day in held)
        assert read.question == ("order" if is_open else None)
        assert is_open or days(read) == expected
    else:
        assert read.question in ("order", "years") or days(read) == expected


MINUTES = st.integers(0, 60 * 24 * 365 * 30).map(lambda n: datetime(2010, 1, 1) + timedelta(minutes=n))


@given(st.lists(MINUTES, min_size=1, max_size=40), st.sampled_from(["%H:%M", "%H.%M", "%I:%M %p", "%H:%M:%S", "%Hh%M"]))
def test_moments_are_read_back(held, clock):
    read = parse_moments(texts(*[moment.strftime(f"%Y-%m-%d {clock}") for moment in held]))
    assert list(read.moment.astype("datetime64[us]").astype(object)) == held


@given(st.lists(st.text(max_size=14), max_size=30))
def test_no_text_breaks_the_reading_of_dates(cells):
    read = parse_moments(texts(*cells))
    assert (np.isnat(read.moment) == (read.state != State.READ)).all()


def test_short_years_in_front_are_seen_from_the_whole_column():
    held = [datetime(2025, 11, 1) + timedelta(days=5 * i) for i in range(40)]
    read = parse_moments(texts(*[day.strftime("%y-%m-%d") for day in held]))
    assert (read.order, read.question, read.format) == ("year-month-day", None, "year-month-day")
    assert days(read) == [day.date().isoformat() for day in held]


def test_short_years_behind_are_the_rule():
    held = [datetime(2025, 11, 1) + timedelta(days=5 * i) for i in range(40)]
    for form in ("%d/%m/%y", "%d-%m-%y", "%d.%m.%y"):
        read = parse_moments(texts(*[day.strftime(form) for day in held]))
        assert read.order == "day-month"
        assert days(read) == [day.date().isoformat() for day in held]
    assert days(parse_moments(texts("25/04/26"))) == ["2026-04-25"]


@pytest.mark.parametrize("cells", [("26-03-04",), ("26-03-14", "26-03-15"), ("26/03/04", "26/03/05")])
def test_few_dates_that_may_begin_with_their_year_are_asked_about(cells):
    read = parse_moments(texts(*cells))
    assert read.question == "years"
    assert list(read.state) == [State.AMBIGUOUS] * len(cells)
    answered = parse_moments(texts(*cells), "day-month")
    assert answered.question is None
    assert (answered.state == State.READ).all()
    first = parse_moments(texts(*cells), "year-month-day")
    assert days(first) == [f"20{cell.replace('/', '-')}" for cell in cells]


def test_an_answer_against_the_texts_turns_nothing_round():
    read = parse_moments(mixed(TURNED), "month-day")
    assert days(read) == ["2026-04-03", "2026-05-11", "2026-12-01", None, None]
    american = [datetime(2026, 4, 3), datetime(2026, 5, 11), datetime(2026, 12, 1), "04/25/2026", "11/13/2026"]
    assert parse_moments(mixed(american)).question == "turned"
    assert days(parse_moments(mixed(american), "month-day"))[:2] == ["2026-03-04", "2026-11-05"]
