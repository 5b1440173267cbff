"""Is a cellar log that names only tanks and times, and batches packed in two runs each, linked and judged rightly?

The truth: one rouse more raises total oxygen by 28 % (0.25 on the log scale); finings do nothing, and nothing moves the
level. Each of four tanks holds one brew after the other. Every batch is canned on two days running.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

Ask = Callable[..., Any]

TRUTH = {"rouses": 0.25}


def _log(made: pd.DataFrame) -> pd.DataFrame:
    """The cellar log: every brew is dumped once, roused as often as it was, and fined where it was."""
    rows = []
    for brew in made.itertuples():
        start = brew.brewed + pd.Timedelta(days=8, hours=9)
        rows += [(start + pd.Timedelta(days=i), brew.tank, "roused", "10", "") for i in range(brew.rouses)]
        rows.append((start + pd.Timedelta(days=4), brew.tank, "cone dump", None, ""))
        if brew.dose:
            millilitres = f"{brew.dose * brew.volume:.0f} mL"
            rows.append((start + pd.Timedelta(days=5), brew.tank, "fined", None, millilitres))
    log = pd.DataFrame(rows, columns=["at", "Tank", "Job", "Mins", "Qty"]).sort_values("at", ignore_index=True)
    log.insert(0, "Date", log["at"].dt.strftime("%d/%m/%Y"))
    log.insert(1, "Time", log["at"].dt.strftime("%H:%M"))
    return log.drop(columns="at")


@pytest.fixture(scope="module")
def taken(ask: Ask, write: Callable[..., Path], brew: Ask) -> Any:
    brewery = brew(seed=31, batches=64, packs=4, effects=TRUTH, gap=8)
    made, packs = brewery.batches, brewery.packs
    brews = pd.DataFrame(
        {"Brew": made["batch"], "Beer": made["recipe"], "Brewed": made["brewed"].dt.strftime("%d/%m/%Y"),
         "hL": made["volume"], "Into FV": made["tank"]}
    )  # fmt: skip
    days = [
        pd.DataFrame(
            {"Run": made["batch"] + f"-{day + 1}", "Brew": made["batch"], "Type": "can",
             "Date": (made["packed"] + pd.Timedelta(days=day)).dt.strftime("%d/%m/%Y")}
        )
        for day in range(2)
    ]  # fmt: skip
    day = (packs["can"] > 2).astype(int)
    laboratory = pd.DataFrame(
        {"Run": packs["batch"] + "-" + (day + 1).astype("str"), "Can": packs["can"], "TPO ppb": packs["oxygen"].round()}
    )
    sheets = {"Brew log": brews, "Cellar": _log(made), "Canning": pd.concat(days), "QC": laboratory}
    return ask("intake", write("cellar.xlsx", sheets), "--by", "a brewer")


def test_all_is_taken_in_and_all_is_linked(taken: Any, ask: Ask, sheets_of: Ask) -> None:
    assert taken.code == 0
    assert sum(sheet["rejected"] for sheet in sheets_of(taken)) == 0
    packs = ask("packs").document
    assert packs["unlinked"] == []
    rows = pd.DataFrame(packs["rows"])
    assert (len(rows), rows["run"].nunique(), rows["batch"].nunique()) == (256, 128, 64)
    assert set(rows["rouse_count"]) == {0, 1, 2, 3}


def test_the_verdicts_are_the_truth(taken: Any, ask: Ask) -> None:
    told = ask("practices", "total_oxygen")
    rouses = [row for row in told.document["practices"] if row["practice"].startswith("rouse_")]
    assert "raises" in {row["verdict"] for row in rouses}
    others = {name: word for name, word in told.verdicts().items() if not name.startswith("rouse_")}
    assert others
    assert set(others.values()) <= {"no practical difference", "cannot tell yet"}


def test_two_runs_a_batch_make_no_moves_of_the_level(taken: Any, ask: Ask) -> None:
    series = ask("chart", "total_oxygen").document["series"]
    assert sum(len(each["points"]) for each in series) == 128
    assert [each["shifts"] for each in series] == [[], [], []]
