"""Does a brewery whose batch and run numbers begin again each January get its answers, year by year?

The truth: bleeding the air lowers total oxygen by 36 % (0.45 on the log scale); rouses and finings do nothing. Sixty
batches are brewed over two years and a quarter, one a fortnight. Batch 1 is the first brew of a year and run 1 the
first packing of a year, so that run 1 holds the last batch of the year before; every file but the cellar log is begun
anew under its old name.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

Ask = Callable[..., Any]

TRUTH = {"bled": -0.45}
YEARS = (2024, 2025, 2026)


@pytest.fixture(scope="module")
def cellar(brew: Ask) -> pd.DataFrame:
    """The batches, each under its number and its run's number, which begin again each year."""
    made = brew(seed=23, effects=TRUTH, gap=14).batches
    for name in ("brewed", "packed"):
        made[name] -= pd.Timedelta(days=365)
    made["batch_no"] = made.groupby(made["brewed"].dt.year).cumcount() + 1
    order = made.sort_values("packed")
    made["run_no"] = order.groupby(order["packed"].dt.year).cumcount() + 1
    return made


@pytest.fixture(scope="module")
def packs(brew: Ask, cellar: pd.DataFrame) -> pd.DataFrame:
    read = brew(seed=23, effects=TRUTH, gap=14).packs
    told = read.merge(cellar, on="batch").assign(oxygen=lambda f: f["oxygen"].round(1))
    return told.assign(haze=0.4 + 0.01 * told.index)


@pytest.fixture(scope="module")
def taken(ask: Ask, write: Callable[..., Path], cellar: pd.DataFrame, packs: pd.DataFrame) -> list[Any]:
    brews = cellar[["batch_no", "recipe", "brewed", "volume", "tank"]].set_axis(
        ["Batch", "Beer", "Brewed", "Volume hL", "FV"], axis=1
    )
    book = {"Brews": brews, "Log": _log(cellar), "Moves": _moves(cellar)}
    told = [ask("intake", write("cellar.xlsx", book), "--by", "a brewer")]
    order = ["packed", "run_no", "batch_no", "can", "oxygen", "bled"]
    headers = ["Packed", "Run", "Batch", "Can no.", "TPO ppb", "Air bled?"]
    for year in YEARS:
        own = packs[packs["packed"].dt.year == year].sort_values(["run_no", "can"])
        own = own.assign(bled=own["bled"].map({True: "y", False: "n"}))[order].set_axis(headers, axis=1)
        told.append(ask("intake", write("packing.xlsx", {"Packing": own}), "--by", "a brewer"))
    tasted = packs.drop_duplicates("batch").assign(on=lambda f: f["packed"].dt.floor("D") + pd.Timedelta(days=10))
    scores = pd.DataFrame({"Tasted": tasted["on"], "Run": tasted["run_no"], "Taster": "AB", "Papery": 2})
    told.append(ask("intake", write("panel.xlsx", {"Panel": scores}), "--by", "a brewer"))
    told.append(ask("intake", write("lab.csv", _lab(packs)), "--by", "a brewer"))
    return told


def _lab(packs: pd.DataFrame) -> pd.DataFrame:
    """Return a sheet with a reading a row, each dated two days after packing."""
    return pd.DataFrame(
        {
            "Measured at": (packs["packed"].dt.floor("D") + pd.Timedelta(days=2)).dt.strftime("%Y-%m-%d"),
            "Run": packs["run_no"],
            "Batch": packs["batch_no"],
            "Sample": packs["can"],
            "Quantity": "haze",
            "Value": packs["haze"],
            "Unit": "EBC",
        }
    )


def _moves(cellar: pd.DataFrame) -> pd.DataFrame:
    """Return the moves: every batch goes to the one bright tank two hours before it is packed."""
    when = cellar["packed"] - pd.Timedelta(hours=2)
    return pd.DataFrame(
        {
            "Date": when, "From batch": cellar["batch_no"], "To batch": cellar["batch_no"],
            "From vessel": cellar["tank"], "To vessel": "BT1", "Volume hL": cellar["volume"],
        }
    )  # fmt: skip


def _log(cellar: pd.DataFrame) -> pd.DataFrame:
    """Return the cellar log: each batch is roused so often on the days before it is packed, by its own number."""
    rows = cellar.loc[cellar.index.repeat(cellar["rouses"])]
    when = rows["packed"].dt.floor("D") - pd.to_timedelta(rows.groupby(level=0).cumcount() + 1, unit="D")
    return pd.DataFrame(
        {"Date": when, "Batch": rows["batch_no"], "What": "rouse", "Minutes": 10, "FV": rows["tank"]}
    ).sort_values("Date")


def test_every_row_is_taken_in_and_nothing_contradicts(taken: list[Any], sheets_of: Ask) -> None:
    for told in taken:
        assert told.code == 0, told.document["problems"]
        assert all(sheet["rejected"] == 0 for sheet in sheets_of(told))
        assert not [p for p in told.document["problems"] if p["code"] == "conflict"]


def test_that_numbers_begin_again_is_said_and_not_guessed_in_silence(taken: list[Any]) -> None:
    again = [[p for p in told.document["problems"] if p["code"] == "numbers-again"] for told in taken]
    assert [len(problems) for problems in again] == [0, 0, 0, 1, 0, 0]
    assert "They are taken for different runs." in again[3][0]["message"]
    assert "correct the year" in again[3][0]["remedy"]


def test_every_pack_has_its_run_and_batch_of_the_right_year(taken: list[Any], ask: Ask, packs: pd.DataFrame) -> None:
    told = ask("packs")
    rows = pd.DataFrame(told.document["rows"])
    assert told.document["unlinked"] == []
    in_line, in_lab = rows[rows["total_oxygen"].notna()], rows[rows["haze"].notna()]
    assert len(in_line) == len(in_lab) == len(packs) == 180
    assert len(rows) == 360, "a can read in the laboratory two days on is another one"
    assert rows["run"].nunique() == rows["batch"].nunique() == 60
    truth = packs.set_index([packs["packed"].dt.strftime("%Y-%m-%d"), packs["can"].astype(str)])
    for _, row in rows.iterrows():
        own = truth.loc[(row["packed_at"][:10], str(row["sample"]))]
        assert row["total_oxygen"] == pytest.approx(own["oxygen"]) or pd.notna(row["haze"])
        assert row["haze"] == pytest.approx(own["haze"]) or pd.notna(row["total_oxygen"])
        assert row["recipe"] == own["recipe"]
        assert row["rouse_count"] == own["rouses"] or (pd.isna(row["rouse_count"]) and own["rouses"] == 0)
        assert row["tank"] == "BT1"
        assert row["batch"].startswith(f"{own['batch_no']} (") or row["batch"] == str(own["batch_no"])
        assert "(" not in row["batch"] or f"({own['brewed'].year})" in row["batch"]


def test_a_december_brew_is_in_the_first_run_of_january(taken: list[Any], ask: Ask, cellar: pd.DataFrame) -> None:
    rows = pd.DataFrame(ask("packs").document["rows"])
    late = cellar[cellar["packed"].dt.year > cellar["brewed"].dt.year]
    assert len(late) >= 2
    for _, one in late.iterrows():
        own = rows[rows["packed_at"].str[:10] == one["packed"].strftime("%Y-%m-%d")]
        assert set(own["batch"]) <= {f"{one['batch_no']} ({one['brewed'].year})", str(one["batch_no"])}
        assert {run.split(" ")[0] for run in own["run"]} == {str(one["run_no"])}


def test_the_verdicts_are_the_truth_and_count_every_batch(taken: list[Any], ask: Ask) -> None:
    told = ask("practices", "total_oxygen")
    assert told.code == 0
    assert (told.document["runs"], told.document["batches"]) == (60, 60)
    verdicts = told.verdicts()
    assert verdicts.pop("air_bled") == "lowers"
    assert set(verdicts.values()) <= {"no practical difference", "cannot tell yet"}
    bled = next(row for row in told.document["practices"] if row["practice"] == "air_bled")
    assert bled["batches"] == 60
    assert -45 < bled["effect_percent"] < -25


def test_a_chart_has_a_point_for_each_run_in_the_order_of_packing(taken: list[Any], ask: Ask) -> None:
    points = [point for each in ask("chart", "total_oxygen").document["series"] for point in each["points"]]
    assert len({point["run"] for point in points}) == len(points) == 60
    for each in ask("chart", "total_oxygen").document["series"]:
        assert [p["at"] for p in each["points"]] == sorted(p["at"] for p in each["points"])


def test_every_tasting_is_of_the_run_packed_ten_days_before(taken: list[Any], ask: Ask) -> None:
    points = [p for each in ask("chart", "papery").document["series"] for p in each["points"]]
    assert len({point["run"] for point in points}) == 60


def test_the_same_year_again_changes_nothing(
    taken: list[Any], ask: Ask, write: Callable[..., Path], packs: Any
) -> None:
    before = ask("packs").document["ledger_state"]
    own = packs[packs["packed"].dt.year == 2026].sort_values(["run_no", "can"])
    own = own.assign(bled=own["bled"].map({True: "y", False: "n"}))
    again = own[["packed", "run_no", "batch_no", "can", "oxygen", "bled"]].set_axis(
        ["Packed", "Run", "Batch", "Can no.", "TPO ppb", "Air bled?"], axis=1
    )
    told = ask("intake", write("packing (1).xlsx", {"Packing": again}), "--by", "a brewer")
    after = ask("packs").document
    assert told.code == 0
    assert len(after["rows"]) == 360
    assert after["ledger_state"] in (before, before + 1)


def test_the_history_has_every_intake(taken: list[Any], ask: Ask) -> None:
    assert len(ask("history").document["intakes"]) >= len(taken)
