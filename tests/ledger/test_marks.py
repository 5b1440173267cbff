"""Do rows about the same thing get the same key, rows that say the same the same content, and no others?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.ledger import Snapshot
from analysis.ledger.hashing import number_hashes, text_hashes
from analysis.ledger.identity import Marks, marks
from analysis.ledger.packing import pack
from analysis.records.kinds import kind


def _marks(rows: list[dict[str, object]], of: str = "readings") -> Marks:
    frame = Snapshot.of({of: pd.DataFrame(rows).assign(file="a", sheet="b")}).frame(of)
    return marks(pack(kind(of), frame, [("a", "b")]))


def test_kept_numbers_stay_what_they_are():
    """pinned: these stand in every ledger; a change here needs a migration that hashes every row again."""
    texts = text_hashes(np.array(["2417", "°P", "a"], dtype=object))
    assert texts.tolist() == [11452146828026690320, 17787794362179974856, 17189161910051005891]
    assert number_hashes(np.array([35.0, -1e-9])).tolist() == NUMBERS
    assert number_hashes(np.array([0, 1_741_078_800_000_000])).tolist() == MOMENTS


NUMBERS = [12055278716369932085, 2938153982919775187]
MOMENTS = [6238072747940578789, 15193340550860761788]


def test_a_key_is_made_of_the_identity_alone():
    marked = _marks(
        [
            {"run": "1", "quantity": "haze", "value": 1.0},
            {"run": "1", "quantity": "haze", "value": 2.0},
            {"run": "2", "quantity": "haze", "value": 1.0},
            {"batch": "1", "quantity": "haze", "value": 1.0},
        ]
    )
    assert len(set(marked.key[:2])) == 1
    assert len(set(marked.key)) == 3
    assert len(set(marked.content)) == 4


def test_which_column_holds_a_value_counts():
    marked = _marks([{"run": "7", "quantity": "haze", "value": 1.0}, {"batch": "7", "quantity": "haze", "value": 1.0}])
    assert marked.key[0] != marked.key[1]


def test_blanks_of_any_sort_are_one():
    marked = _marks([{"run": "1", "quantity": "haze", "value": 1.0, "note": v, "meter": v} for v in (None, "", pd.NA)])
    assert len(set(marked.content)) == 1


@pytest.mark.parametrize("value", [35.0, 0.3, 4.0, 1e-7, 123456.789])
def test_rounding_noise_is_no_difference_and_a_digit_is(value: float):
    same = number_hashes(np.array([value, np.nextafter(value, 1e9), np.nextafter(value, -1e9)]))
    other = number_hashes(np.array([value, value * (1 + 1e-9)]))
    assert len(set(same.tolist())) == 1
    assert len(set(other.tolist())) == 2


def test_zero_has_one_sign():
    assert len(set(number_hashes(np.array([0.0, -0.0])).tolist())) == 1


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12), unique=True, min_size=2))
def test_texts_that_differ_have_hashes_that_differ(words: list[str]):
    hashes = text_hashes(np.array([*words, None], dtype=object)[:-1])
    assert len(set(hashes.tolist())) == len(words)
    assert text_hashes(np.array([words[-1], None], dtype=object)[:-1])[0] == hashes[-1]


def test_a_million_numbered_samples_stay_apart():
    words = np.array([f"{run}-{sample}" for run in range(5_000) for sample in range(40)], dtype=object)
    assert len(np.unique(text_hashes(words))) == len(words)


def test_a_null_character_does_not_reach_the_database():
    frame = Snapshot.of({"targets": pd.DataFrame({"recipe": ["P\x0040", "\x00"], "quantity": "haze"})}).frame("targets")
    packed = pack(kind("targets"), frame, [("", "")])
    assert packed.column("recipe").plain(slice(0, 2)).tolist() == ["P40", None]


def test_a_frame_that_lacks_a_column_is_refused():
    with pytest.raises(ValueError, match="lacks lower"):
        pack(kind("targets"), Snapshot.empty().frame("targets").drop(columns="lower"), [])
