"""Does an intake come to stand on record as it was offered?"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from analysis.ledger import Counts, Ledger, snapshot
from analysis.records.kinds import KINDS

READINGS = [
    {
        "run": "1",
        "batch": "2417",
        "quantity": "total_oxygen",
        "value": 35.0,
        "measured_at": datetime(2025, 3, 4, 9, 30),
    },
    {"run": "1", "batch": "2417", "quantity": "haze", "value": 0.5, "sign": "<", "extra": '{"Shift": "early"}'},
]
DTYPES = {"id": "str", "text": "str", "choice": "str", "number": "float64", "count": "float64",
          "date": "datetime64[us]", "moment": "datetime64[us]"}  # fmt: skip


def test_a_new_ledger_is_empty_and_every_kind_has_a_frame(ledger: Ledger):
    assert ledger.state == 0
    empty = snapshot(ledger)
    for kind in KINDS.values():
        frame = empty.frame(kind.name)
        assert len(frame) == 0
        assert [str(frame.dtypes[c.name]) for c in kind.columns] == [DTYPES[c.type] for c in kind.columns]


def test_what_was_offered_stands(ledger: Ledger, offer):
    done = ledger.commit(offer("log.xlsx", readings=READINGS), "Ines", datetime(2025, 3, 5))
    assert (done.intake, done.state, done.counts) == (1, 1, {"readings": Counts(added=2)})
    frame = snapshot(ledger).frame("readings")
    assert frame["value"].tolist() == [35.0, 0.5]
    assert frame["sign"].isna().tolist() == [True, False]
    assert frame["measured_at"].tolist()[0] == pd.Timestamp(2025, 3, 4, 9, 30)
    assert frame["measured_at"].isna().tolist() == [False, True]
    assert frame["extra"].tolist()[1] == '{"Shift": "early"}'
    assert frame["file"].astype(str).tolist() == ["log.xlsx"] * 2
    assert frame["source_row"].tolist() == [2, 3]


def test_a_frame_from_the_ledger_has_the_types_of_one_built_by_hand(ledger: Ledger, offer):
    intake = offer("log.xlsx", readings=READINGS)
    ledger.commit(intake, "Ines")
    frame = snapshot(ledger).frame("readings")
    expected = intake.records["readings"].dtypes
    assert frame.dtypes[expected.index].equals(expected)
    assert frame.dtypes[["record", "intake"]].tolist() == [np.int64, np.int64]
    assert list(frame.columns) == [*KINDS["readings"].names, "extra", "record", "intake", "file", "sheet", "source_row"]


def test_someone_must_have_taken_it_in(ledger: Ledger, offer):
    with pytest.raises(ValueError, match="by must say who"):
        ledger.commit(offer("log.xlsx", readings=READINGS), " ")
    assert ledger.state == 0
