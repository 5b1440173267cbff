"""Is every number read with its sign, its unit and its decimal sign, and is none made up?"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.cells import BOOL, CLOCK, ERROR, MOMENT, NUMBER, RawColumn
from analysis.records.decimals import decimal_of_columns
from analysis.records.numbers import number_of
from analysis.records.parsing import State, parse_counts, parse_numbers


def texts(*cells):
    return RawColumn.of_texts(cells)


def natives(tags, number, moment=None):
    """A column of native cells."""
    n = len(tags)
    empty = texts("x").words
    moment = np.full(n, np.datetime64("NaT", "us")) if moment is None else np.array(moment, dtype="datetime64[us]")
    return RawColumn(np.array(tags, dtype=np.int8), np.full(n, -1, dtype=np.int32), empty.slice(0, 0),
                     np.array(number, dtype=float), moment)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "value", "sign", "unit", "rough"),
    [
        ("5", 5, 0, "", False),
        ("-1.5", -1.5, 0, "", False),
        ("−1.5", -1.5, 0, "", False),
        ("+5", 5, 0, "", False),
        (".5", 0.5, 0, "", False),
        (",5", 0.5, 0, "", False),
        ("5.", 5, 0, "", False),
        ("0,8", 0.8, 0, "", False),
        ("12,50", 12.5, 0, "", False),
        ("<5", 5, -1, "", False),
        ("< 5", 5, -1, "", False),
        ("<0,5", 0.5, -1, "", False),
        ("≤5", 5, -1, "", False),
        ("<=5", 5, -1, "", False),
        ("less than 5", 5, -1, "", False),
        ("below 5 ppb", 5, -1, "ppb", False),
        (">200", 200, 1, "", False),
        ("> 200", 200, 1, "", False),
        ("≥ 1,5 NTU", 1.5, 1, "NTU", False),
        ("over 200", 200, 1, "", False),
        ("12 ppb", 12, 0, "ppb", False),
        ("0.8NTU", 0.8, 0, "NTU", False),
        ("12 µg/L", 12, 0, "µg/L", False),
        ("4°C", 4, 0, "°C", False),
        ("12.4 °P", 12.4, 0, "°P", False),
        ("3 pt/bbl", 3, 0, "pt/bbl", False),
        ("½ pt/bbl", 0.5, 0, "pt/bbl", False),
        ("3½", 3.5, 0, "", False),
        ("1 ½", 1.5, 0, "", False),
        ("1.2E+03", 1200, 0, "", False),
        ("12e6 cells/mL", 12e6, 0, "cells/mL", False),
        ("12 x 10^6", 12e6, 0, "", False),
        ("1,2×10⁶ /mL", 1.2e6, 0, "/mL", False),
        ("5 × 10⁻³", 0.005, 0, "", False),
        ("ca. 5", 5, 0, "", True),
        ("~5", 5, 0, "", True),
        ("≈ 5 ppb", 5, 0, "ppb", True),
        ("approx 12", 12, 0, "", True),
        ("about 12.5", 12.5, 0, "", True),
        ("5?", 5, 0, "", True),
        ("5 (?)", 5, 0, "", True),
        ("5*", 5, 0, "", True),
        ("1,234.5", 1234.5, 0, "", False),
        ("1.234,5", 1234.5, 0, "", False),
        ("1 234,5", 1234.5, 0, "", False),
        ("1\u00a0234.5", 1234.5, 0, "", False),
        ("1'234.5", 1234.5, 0, "", False),
        ("1’234", 1234, 0, "", False),
        ("1,234,567", 1234567, 0, "", False),
        ("12 345 678", 12345678, 0, "", False),
    ],
)
def test_a_number_is_read_as_it_is_written(text, value, sign, unit, rough):
    for decimal in (None, ".", ","):
        read = number_of(text, decimal)
        assert read.state is State.READ
        assert read.value == pytest.approx(value, rel=1e-14)
        assert (read.sign, read.unit, read.is_approximate) == (sign, unit, rough)


@pytest.mark.parametrize("text", ["1,234", "1.234", "12,345", "-1,234", "<1,234", "999.999"])
def test_three_digits_behind_a_sign_are_read_only_where_the_sign_is_known(text):
    assert number_of(text).state is State.AMBIGUOUS
    value = {decimal: abs(number_of(text, decimal).value) for decimal in ".,"}
    digits = float(text.strip("-<").replace(",", "").replace(".", ""))
    shown = "," if "," in text else "."
    assert value[shown] == pytest.approx(digits / 1000)
    assert value["." if shown == "," else ","] == digits


@pytest.mark.parametrize("text", ["0,123", "0.123", "1234.567", "1234,5678"])
def test_a_leading_zero_or_four_digits_leave_one_reading(text):
    assert number_of(text).value == pytest.approx(float(text.replace(",", ".")))


@pytest.mark.parametrize(
    "text",
    ["n/a", "N/A", "na", "-", "—", "–", "--", "?", "nm", "n.m.", "not taken", "Not  Measured", "broken", "meter broken",
     "#N/A", "#DIV/0!", "NaN", "null", "None", "tbc", "no sample", "nd", "<LOD", "trace", "over range", "Lost."],
)  # fmt: skip
def test_words_for_missing_are_missing(text):
    assert number_of(text).state is State.MISSING


@pytest.mark.parametrize(
    "text",
    ["5-7", "5–7", "5 - 7", "5/7", "5 to 7", "12.03.26", "12:30", "2026-03-04", "five", "P40", "FV3", "5 bananas", "<",
     "> <5", "5 5", "1,23,456", "1.2.3", "12 (2nd reading)", "5 ± 1", "see note", "5 ppb low", "=5", "1e999x",
     "12,3.4,5",
     "1 2345", "R-0231", "5%5"],
)  # fmt: skip
def test_what_is_no_number_is_not_made_one(text):
    read = number_of(text)
    assert read.state is State.UNREADABLE
    assert np.isnan(read.value)


def test_a_column_decides_its_decimal_sign_from_all_its_cells():
    read = parse_numbers(texts("1,234", "0,8", "12,5", None, "n/a"))
    assert read.decimal == ","
    assert read.value[:3] == pytest.approx([1.234, 0.8, 12.5])
    assert list(read.state) == [State.READ, State.READ, State.READ, State.EMPTY, State.MISSING]
    assert parse_numbers(texts("1,234", "0.8")).value[0] == 1234


def test_the_sheets_sign_settles_a_column_that_shows_none():
    column = texts("1,234", "2,345")
    assert list(parse_numbers(column).state) == [State.AMBIGUOUS] * 2
    assert parse_numbers(column, ",").value == pytest.approx([1.234, 2.345])
    assert list(parse_numbers(column, ".").value) == [1234, 2345]


def test_a_column_that_shows_both_signs_leaves_the_open_ones_open():
    read = parse_numbers(texts("0.8", "0,9", "1,234"))
    assert read.decimal is None
    assert list(read.state) == [State.READ, State.READ, State.AMBIGUOUS]


def test_units_in_cells_are_kept_once_each():
    read = parse_numbers(texts("12 ppb", "0.02 ppm", "14 ppb", "15", "<5 ppb"))
    assert read.units == ("ppb", "ppm")
    assert list(read.unit_code) == [0, 1, 0, -1, 0]
    assert list(read.sign) == [0, 0, 0, 0, -1]


def test_a_limit_is_neither_its_number_nor_missing():
    read = parse_numbers(texts("<5"))
    assert (read.value[0], read.sign[0], read.state[0]) == (5.0, -1, State.READ)


def test_native_cells_are_numbers_or_are_not():
    column = natives([NUMBER, MOMENT, CLOCK, BOOL, ERROR, 0], [12.5, np.nan, 60.0, 1.0, np.nan, np.nan],
                     [None, "2026-03-04", None, None, None, None])  # fmt: skip
    read = parse_numbers(column)
    assert read.value[0] == 12.5
    assert np.isnan(read.value[1:]).all()
    assert list(read.state) == [
        State.READ, State.UNREADABLE, State.UNREADABLE, State.UNREADABLE, State.MISSING, State.EMPTY,
    ]  # fmt: skip


def test_counts_are_whole():
    read = parse_counts(texts("24", "24.0", "24.5", "-1", "<24", "n/a"))
    assert list(read.state) == [
        State.READ, State.READ, State.UNREADABLE, State.UNREADABLE, State.UNREADABLE, State.MISSING,
    ]  # fmt: skip
    assert list(read.value[:2]) == [24, 24]
    assert np.isnan(read.value[2:]).all()


def test_an_unknown_decimal_sign_is_refused():
    with pytest.raises(ValueError, match="decimal must be"):
        parse_numbers(texts("5"), ";")


def test_dates_and_times_show_no_decimal_sign():
    assert decimal_of_columns([texts("12.03.2026", "2026-03-04", "14:30").words]) is None


def test_an_empty_column_is_read():
    assert len(parse_numbers(texts()).value) == 0
    assert list(parse_numbers(texts(None, "")).state) == [State.EMPTY, State.EMPTY]


WRITTEN = st.floats(0.001, 1e9).map(lambda x: float(f"{x:.6g}"))


def with_groups(value, places, decimal, group):
    """Write a number with its thousands parted."""
    whole, _, part = f"{value:,.{places}f}".partition(".")
    return whole.replace(",", group) + (decimal + part if part else "")


@given(
    st.lists(WRITTEN, min_size=1, max_size=30),
    st.sampled_from([(".", ","), (",", "."), (",", " "), (".", "'"), (",", "\u202f")]),
)
def test_numbers_with_parted_thousands_are_read_back(values, signs):
    decimal, group = signs
    column = texts(*[with_groups(value, 4, decimal, group) for value in values])
    read = parse_numbers(column)
    assert (read.state == State.READ).all()
    assert read.value == pytest.approx([round(value, 4) for value in values], abs=1e-9)


@given(
    st.lists(st.tuples(WRITTEN, st.sampled_from(["", "<", "> ", "≤"]), st.sampled_from(["", " ppb", "NTU", " mg/L"]))),
    st.booleans(),
)
def test_signs_and_units_are_read_back_with_either_decimal_sign(cells, has_comma):
    decimal = "," if has_comma else "."
    shown = [f"{sign}{repr(value).replace('.', decimal)}{unit}" for value, sign, unit in cells]
    read = parse_numbers(texts(*shown), decimal)
    assert (read.state == State.READ).all()
    assert list(read.value) == [value for value, *_ in cells]
    assert list(read.sign) == [{"": 0, "<": -1, "> ": 1, "≤": -1}[sign] for _, sign, _ in cells]
    found = [read.units[code] if code >= 0 else "" for code in read.unit_code]
    assert found == [unit.strip() for *_, unit in cells]


@given(st.lists(st.text(max_size=10), max_size=30))
def test_no_text_is_ever_turned_into_a_number_silently(cells):
    read = parse_numbers(texts(*cells))
    assert (np.isnan(read.value) == (read.state != State.READ)).all()
    for i in np.flatnonzero(read.state == State.READ):
        assert any(letter.isdigit() or letter in "½¼¾⅓⅔" for letter in cells[i])
