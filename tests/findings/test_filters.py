"""Do filters keep just the rows that were asked about?"""

from datetime import date

import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.finding import Finding

ROWS = pd.DataFrame(
    {
        "recipe": ["P40", "P40", "I62", None],
        "format": ["can", "keg", "can", "can"],
        "tank": ["FV1", "FV2", "FV1", "FV1"],
        "packed_at": pd.to_datetime(["2026-01-10 08:00", "2026-02-01 00:00", "2026-02-28 23:30", "2026-03-01 00:00"]),
    }
)


@pytest.mark.parametrize(
    ("filters", "kept"),
    [
        (Filters(), [0, 1, 2, 3]),
        (Filters(recipes=("P40",)), [0, 1]),
        (Filters(recipes=("P40", "I62")), [0, 1, 2]),
        (Filters(format="can"), [0, 2, 3]),
        (Filters(tank="FV2"), [1]),
        (Filters(since=date(2026, 2, 1)), [1, 2, 3]),
        (Filters(until=date(2026, 2, 28)), [0, 1, 2]),
        (Filters(recipes=("P40",), since=date(2026, 2, 1), until=date(2026, 2, 1)), [1]),
    ],
)
def test_rows_asked_about(filters, kept):
    assert filters.apply(ROWS).index.tolist() == kept


def test_a_missing_date_is_not_among_the_dates_asked_about():
    rows = ROWS.assign(packed_at=pd.NaT)
    assert Filters(since=date(2020, 1, 1)).apply(rows).empty


def test_in_words():
    filters = Filters(("P40", "I62"), "can", date(2026, 5, 1), date(2026, 6, 30), "FV3")
    assert filters.in_words() == "recipes P40 and I62, cans, since 1 May 2026, until 30 June 2026, tank FV3"
    assert Filters().in_words() == "everything on record"


def test_document():
    document = Finding("Is it stable?", "Yes.", ("few runs",), 7, Filters(since=date(2026, 5, 1))).as_document()
    assert document == {
        "question": "Is it stable?",
        "answer": "Yes.",
        "cautions": ["few runs"],
        "ledger_state": 7,
        "filters": {"recipes": [], "format": None, "since": "2026-05-01", "until": None, "tank": None},
    }


def test_misuse():
    with pytest.raises(ValueError, match="format must be one of can, bottle, keg, cask, got 'tin'"):
        Filters(format="tin")
    with pytest.raises(ValueError, match="since must not be after until"):
        Filters(since=date(2026, 2, 1), until=date(2026, 1, 1))
    with pytest.raises(ValueError, match="frame must have the column 'tank'"):
        Filters(tank="FV1").apply(ROWS.drop(columns="tank"))
