"""Does the pack table come out as it was asked for, in words, as JSON and as a file?"""

import json
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.packs import packs


@pytest.fixture
def small(simulated_packs):
    rows = simulated_packs.rows.head(6).copy()
    rows.loc[0, ["total_oxygen", "total_oxygen_censored"]] = [5.0, -1]
    rows.loc[1, "haze"] = np.nan
    rows["blended"] = [True, False, False, False, False, False]
    unlinked = pd.DataFrame({"kind": ["readings"], "reason": ["no such run"], "count": [3]})
    return replace(simulated_packs, rows=rows, unlinked=unlinked)


def test_the_document_is_json_with_missing_as_null(small):
    document = json.loads(json.dumps(packs(small).as_document(), allow_nan=False))
    assert len(document["rows"]) == 6
    assert document["rows"][1]["haze"] is None
    assert document["rows"][0]["packed_at"].startswith("20")
    assert document["unlinked"] == [{"kind": "readings", "reason": "no such run", "count": 3}]
    assert document["units"]["haze"] == "EBC"


def test_less_than_five_stays_less_than_five(small):
    headers, rows = packs(small).in_words()
    place = headers.index("total_oxygen [µg/L]")
    assert rows[0][place] == "<5.00"


def test_what_was_not_linked_and_what_is_a_blend_is_said(small):
    finding = packs(small)
    assert "3 records could not be linked" in finding.answer
    assert "1 pack is a blend" in finding.cautions[0]


def test_a_selection_without_packs_says_so(small):
    finding = packs(small, Filters(recipes=("X99",)))
    assert finding.answer == "No finished pack is on record for this selection."
    assert finding.as_document()["rows"] == []


@pytest.mark.parametrize("form", ["csv", "xlsx", "parquet"])
def test_it_can_be_taken_away(small, form):
    assert len(packs(small).export(form, datetime(2026, 5, 1))) > 500
