"""Does a brewery with one sheet a month, no run numbers and no batch list get its answer?

The truth: bleeding the air lowers total oxygen by 36 % (0.45 on the log scale); rouses and finings do nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

Ask = Callable[..., Any]

HEADERS = ["Packed", "Batch", "Beer", "FV", "Pack", "Can no.", "TPO ppb", "Rouses", "Finings mL/hL", "Air bled?"]
TRUTH = {"bled": -0.45}


@pytest.fixture(scope="module")
def taken(ask: Ask, write: Callable[..., Path], brew: Ask) -> Any:
    brewery = brew(seed=11, effects=TRUTH)
    packs = brewery.beside_packs.assign(
        pack="can", oxygen=lambda f: f["oxygen"].round(), bled=lambda f: f["bled"].map({True: "y", False: "n"})
    )
    months = packs.groupby(packs["packed"].dt.strftime("%b %Y"), sort=False)
    order = ["packed", "batch", "recipe", "tank", "pack", "can", "oxygen", "rouses", "dose", "bled"]
    book = write("packing.xlsx", {str(m): part[order].set_axis(HEADERS, axis=1) for m, part in months})
    return ask("intake", book, "--by", "a brewer")


def test_every_can_is_taken_in_with_its_run(taken: Any, sheets_of: Ask) -> None:
    sheets = sheets_of(taken)
    assert taken.code == 0
    assert {sheet["kind"] for sheet in sheets} == {"pack_runs"}
    assert sum(sheet["accepted"] for sheet in sheets) == 180
    assert {p["code"] for p in taken.document["problems"]} == {"run-named"}


def test_every_pack_has_its_beer_and_nothing_is_left_unlinked(taken: Any, ask: Ask) -> None:
    packs = ask("packs")
    rows = pd.DataFrame(packs.document["rows"])
    assert (packs.code, packs.document["unlinked"]) == (0, [])
    assert len(rows) == 180
    assert rows["run"].nunique() == rows["batch"].nunique() == 60
    assert set(rows["recipe"]) == {"A10", "B20", "C30"}
    assert set(rows["format"]) == {"can"}


def test_the_verdicts_are_the_truth(taken: Any, ask: Ask) -> None:
    told = ask("practices", "total_oxygen")
    verdicts = told.verdicts()
    assert told.code == 0
    assert verdicts.pop("air_bled") == "lowers"
    assert set(verdicts.values()) <= {"no practical difference", "cannot tell yet"}
    assert {"rouses", "finings_ml_hl"} <= set(verdicts)
    bled = next(row for row in told.document["practices"] if row["practice"] == "air_bled")
    assert -45 < bled["effect_percent"] < -25


def test_a_chart_stands_for_each_beer(taken: Any, ask: Ask) -> None:
    series = ask("chart", "total_oxygen").document["series"]
    assert {(each["recipe"], each["format"]) for each in series} == {("A10", "can"), ("B20", "can"), ("C30", "can")}
    assert sum(len(each["points"]) for each in series) == 60
