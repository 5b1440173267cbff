"""Does one batch or vessel have one name however it is written, and do different things keep different names?"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.cells import BOOL, ERROR, MOMENT, NUMBER, RawColumn
from analysis.records.names import _SETTLED_BATCH, _SETTLED_NAME, _SETTLED_VESSEL
from analysis.records.parsing import (
    State,
    batch_number,
    name_of,
    parse_batches,
    parse_choice,
    parse_ids,
    parse_recipes,
    parse_texts,
    parse_vessels,
    parse_yes_no,
    vessel_letters,
    vessel_name,
)


def texts(*cells):
    return RawColumn.of_texts(cells)


def numbers(*cells):
    n = len(cells)
    return RawColumn(np.full(n, NUMBER, dtype=np.int8), np.full(n, -1, dtype=np.int32), texts().words,
                     np.array(cells, dtype=float), np.full(n, np.datetime64("NaT", "us")))  # fmt: skip


def known(read):
    return [None if missing else text for text, missing in zip(read.text, read.text.isna(), strict=True)]


@pytest.mark.parametrize(
    "text",
    ["2417", "#2417", "# 2417", "G2417", "g2417", "G-2417", "Gyle 2417", "gyle2417",
     "Brew 2417", "Brew no. 2417", "BREW #2417", "Batch no 2417", "Batch: 2417", "batch number 2417", "lot 2417",
     "No. 2417", "02417", "002417", "2417.0", " 2417 ", "Brew-2417", "gyle_2417"],
)  # fmt: skip
def test_one_batch_has_one_number(text):
    assert batch_number(text) == "2417"


def test_a_number_from_a_spreadsheet_is_the_same_batch():
    assert known(parse_batches(numbers(2417.0, 2418.0, 2417.0))) == ["2417", "2418", "2417"]


@pytest.mark.parametrize(
    ("text", "form"),
    [("2417A", "2417A"), ("2417a", "2417A"), ("24-017", "24-017"), ("2417-2", "2417-2"), ("2417/18", "2417/18"),
     ("P40", "P40"), ("FV3", "FV3"), ("R-0231", "R-0231"), ("BW2417", "BW2417"), ("2417.5", "2417.5"),
     ("2417 + 2418", "2417 + 2418"), ("brewhouse", "brewhouse"), ("0", "0"), ("241,242", "241,242")],
)  # fmt: skip
def test_what_is_more_than_a_number_stays(text, form):
    assert batch_number(text) == form


def test_letters_stay_where_the_column_tells_batches_apart_by_them():
    assert known(parse_batches(texts("G2417", "B2417", "2418", "G2419"))) == ["G2417", "B2417", "2418", "G2419"]
    assert known(parse_batches(texts("G2417", "B2418", "l-19"))) == ["2417", "B2418", "L19"]


@given(st.lists(st.integers(1, 99_999), min_size=2, max_size=50, unique=True))
def test_different_numbers_stay_different(held):
    for form in ("{}", "#{}", "G{}", "Brew no. {}", "{}.0", "0{}"):
        read = parse_batches(texts(*[form.format(number) for number in held]))
        assert known(read) == [str(number) for number in held]


@pytest.mark.parametrize(
    "text", ["FV3", "fv3", "FV 3", "FV-3", "FV03", "fv. 03", "FV #3", "FV_3", "FV no. 3", "FV nr 3"]
)
def test_one_vessel_has_one_name(text):
    assert vessel_name(text) == "FV3"


@pytest.mark.parametrize(
    ("text", "form"),
    [("FV13", "FV13"), ("BBT2", "BBT2"), ("Bright Tank 2", "Bright Tank 2"), ("FV3a", "FV3A"), ("FV30", "FV30"),
     ("3", "3"), ("FV 1/2", "FV 1/2"), ("Copper", "Copper")],
)  # fmt: skip
def test_different_vessels_keep_different_names(text, form):
    assert vessel_name(text) == form
    assert known(parse_vessels(texts(text))) == [form]
    assert vessel_name(form) == form


@pytest.mark.parametrize(
    ("header", "cells", "names"),
    [("F.V.", ["3", "03", "FV4", "BBT 1"], ["FV3", "FV3", "FV4", "BBT1"]), ("To BBT", ["1", "2a"], ["BBT1", "BBT2A"]),
     ("FV/BBT", ["1"], ["1"]), ("Tank", ["1"], ["1"])],
)  # fmt: skip
def test_a_header_of_one_sort_of_vessels_names_bare_numbers(header, cells, names):
    assert known(parse_vessels(texts(*cells), vessel_letters(header))) == names
    assert known(parse_vessels(numbers(3.0), vessel_letters("FV no."))) == ["FV3"]


def test_other_names_keep_their_letters_and_zeros():
    read = parse_ids(texts("p40", "R-0231", "r-0231", "Meter  A", "007", "3.0", "I62", None, "n/a", "-"))
    assert known(read) == ["P40", "R-0231", "R-0231", "Meter A", "007", "3", "I62", None, None, None]
    assert list(read.state[-3:]) == [State.EMPTY, State.MISSING, State.MISSING]


@given(
    st.lists(st.integers(0, 9999), min_size=2, max_size=40, unique=True),
    st.sampled_from(["R-{:04d}", "P{}", "FV{}", "{:05d}"]),
)
def test_names_are_never_collapsed(held, form):
    names = [form.format(number) for number in held]
    assert known(parse_ids(texts(*names))) == names


@given(st.text(max_size=12))
def test_a_normal_form_is_its_own_normal_form(text):
    for form in (batch_number, vessel_name, name_of):
        once = form(text)
        assert form(once) == once


@pytest.mark.parametrize(
    ("settled", "form"), [(_SETTLED_NAME, name_of), (_SETTLED_BATCH, batch_number), (_SETTLED_VESSEL, vessel_name)]
)
def test_words_that_are_passed_over_are_in_their_normal_form(settled, form):
    @given(st.from_regex(settled, fullmatch=True).filter(str.isascii))
    def check(text):
        assert form(text.strip()) == text.strip()

    check()


def test_native_cells_become_names():
    column = RawColumn(
        np.array([NUMBER, MOMENT, BOOL, ERROR], dtype=np.int8), np.full(4, -1, dtype=np.int32), texts().words,
        np.array([12.5, np.nan, 1.0, np.nan]),
        np.array(["NaT", "2026-03-04", "NaT", "NaT"], dtype="datetime64[us]"),
    )  # fmt: skip
    read = parse_ids(column)
    assert known(read)[:3] == ["12.5", "2026-03-04", "TRUE"]
    assert read.state[3] == State.MISSING


def test_a_choice_is_one_of_the_kept_words():
    words = {"roused": "rouse", "rouse": "rouse", "d/h": "dry_hop", "dry hop": "dry_hop", "cone dump": "dump"}
    read = parse_choice(texts("Roused", "D/H", "Cone  dump", "swept the floor", None, "-"), words)
    assert known(read) == ["rouse", "dry_hop", "dump", None, None, None]
    assert list(read.state[3:]) == [State.UNREADABLE, State.EMPTY, State.MISSING]


def test_yes_and_no_in_every_form():
    read = parse_yes_no(texts("y", "Yes", "x", "✓", "TRUE", "1", "n", "No", "0", "false", "-", "perhaps", None))
    assert list(read.value[:10]) == [1] * 6 + [0] * 4
    assert list(read.state[10:]) == [State.MISSING, State.UNREADABLE, State.EMPTY]
    assert list(parse_yes_no(numbers(1.0, 0.0, 2.0)).state) == [State.READ, State.READ, State.UNREADABLE]


def test_free_text_keeps_its_lines_and_loses_double_spaces():
    read = parse_texts(texts("warm  and late", "two\nlines", "n/a"))
    assert known(read) == ["warm and late", "two\nlines", None]
    assert str(read.text.dtype) == "str"


@pytest.mark.parametrize(
    ("written", "kept"),
    [("Pale 1", "Pale 1"), ("PALE  1", "PALE 1"), ("p40", "P40"), ("i-62", "I-62"), ("3.0", "3"), ("Mild", "Mild")],
)
def test_a_beer_keeps_its_spelling_and_a_code_its_capitals(written: str, kept: str) -> None:
    assert parse_recipes(RawColumn.of_texts([written])).text.tolist() == [kept]
