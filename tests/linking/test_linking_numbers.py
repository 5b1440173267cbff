"""Is the right use of a number found, however it is written and however often it comes round?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.linking.numbers import (
    AFTER,
    BEFORE,
    FOUND,
    NO_NUMBER,
    UNDATED,
    UNKNOWN,
    Pool,
    UseIndex,
    clusters,
    number_and_date,
    unique_keys,
)


def _texts(*texts: str | None) -> pd.Series:
    return pd.Series(list(texts), dtype="str")


@pytest.mark.parametrize("written", ["2417", "#2417", "G2417", "gyle 2417", "2417.0", "02417", "Batch no. 2417"])
def test_one_batch_written_in_many_ways(written: str) -> None:
    pool = Pool.of_batches(_texts("2417", "2418"))
    code, given = pool.codes(_texts(written, None, "9999"))
    assert code.tolist() == [pool.keys.get_loc("2417"), -1, -1]
    assert given.tolist() == [True, False, True]


def test_letters_that_tell_two_batches_apart_stay() -> None:
    pool = Pool.of_batches(_texts("G2417", "B2417", "G2418"))
    assert list(pool.keys) == ["2418", "B2417", "G2417"]
    code, _ = pool.codes(_texts("G2417", "B2417", "2418", "2417"))
    assert [pool.keys[c] if c >= 0 else None for c in code] == ["G2417", "B2417", "2418", None]


def test_a_letter_that_always_stands_before_a_number_belongs_to_its_name() -> None:
    pool = Pool.of_batches(_texts("B5", "B6", "L6", "7", "B7"))
    assert list(pool.keys) == ["7", "B5", "B6", "L6"]
    code, _ = pool.codes(_texts("5", "b-5", "B7", "6", "G5"))
    assert [pool.keys[c] if c >= 0 else None for c in code] == ["B5", "B5", "7", None, "B5"]


def test_vessels_and_runs_have_their_own_forms() -> None:
    assert "fv 03" in Pool.of_vessels(_texts("FV3"))
    assert "FV4" not in Pool.of_vessels(_texts("FV3"))
    assert "Run no. R-12" in Pool.of_runs(_texts("r-12"))
    assert "13" not in Pool.of_runs(_texts("12"))


def test_every_way_a_look_up_can_end() -> None:
    # code 0 is used from 100 to 200 and from 300 to 400; code 1 from 100 to 200.
    index = UseIndex.of(np.array([0, 1, 0]), np.array([300, 100, 100]), np.array([400, 200, 200]), 3)
    rows = [
        (0, True, 150, 2, FOUND),
        (0, True, 350, 0, FOUND),
        (0, True, 300, 0, FOUND),
        (0, True, 250, -1, AFTER),
        (0, True, 99, -1, BEFORE),
        (0, True, -1, -1, UNDATED),
        (1, True, -1, 1, FOUND),
        (1, True, 201, -1, AFTER),
        (2, True, 150, -1, UNKNOWN),
        (-1, True, 150, -1, UNKNOWN),
        (-1, False, 150, -1, NO_NUMBER),
    ]
    code, given, seconds, use, ended = (np.array(column) for column in zip(*rows, strict=True))
    got_use, got_ended = index.find(code, given, seconds)
    assert got_use.tolist() == use.tolist()
    assert got_ended.tolist() == ended.tolist()


def test_nothing_to_be_found() -> None:
    nothing = np.empty(0, dtype=np.int64)
    use, ended = UseIndex.of(nothing, nothing, nothing, 0).find(np.array([-1]), np.array([True]), np.array([5]))
    assert use.tolist() == [-1]
    assert ended.tolist() == [UNKNOWN]


def test_clusters_are_cut_at_gaps_and_never_across_codes() -> None:
    code, seconds = np.array([1, 0, 0, 1, 0]), np.array([5, 0, 10, 100, 21])
    label = clusters(code, seconds, 10)
    assert label[1] == label[2] != label[4]
    assert label[0] != label[3]
    assert len(set(label.tolist())) == 4


def test_keys_say_as_much_as_is_needed() -> None:
    numbers = _texts("1", "2", "2", "3", "3", "4", "4", "5", "5")
    days = ["2026-01-01", "2025-01-01", "2026-01-01", "2025-01-01", "2025-03-01"]
    days += ["2025-01-01", "2025-01-09", "2025-01-01", "2025-01-01"]
    keys = unique_keys(numbers, pd.Series(pd.to_datetime(days)))
    assert keys.tolist() == [
        "1",
        "2 (2025)",
        "2 (2026)",
        "3 (2025-01)",
        "3 (2025-03)",
        "4 (2025-01-01)",
        "4 (2025-01-09)",
        "5 (2025-01-01) 1",
        "5 (2025-01-01) 2",
    ]


def test_a_key_tells_its_number_and_date() -> None:
    numbers = _texts("12", "12", "7", "7", "7 (odd)", "9", "9")
    days = ["2025-01-01", "2026-01-01", "2026-02-01", "2026-02-01", "2026-02-01", "2026-03-01", "2026-03-08"]
    keys = unique_keys(numbers, pd.Series(pd.to_datetime(days)), ["of 1", "of 2", "of 3", "of 4", "of 5", "", ""])
    assert [number_and_date(key) for key in keys] == [
        ("12", "2025"), ("12", "2026"), ("7", "2026-02-01"), ("7", "2026-02-01"), ("7 (odd)", ""),
        ("9", "2026-03-01"), ("9", "2026-03-08"),
    ]  # fmt: skip
