"""Is a batch's recipe known where only its packaging sheet names the beer, or where it is written in two ways?"""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from analysis.ledger.snapshot import Snapshot
from analysis.linking import PackTable, link

Build = Callable[..., Snapshot]


def _packed(run: str, batch: str, **further: str) -> dict[str, object]:
    return {"run": run, "batch": batch, "packed_at": "2026-03-02 10:00", "format": "can", "extra": json.dumps(further)}


def _read(run: str) -> dict[str, object]:
    return {"run": run, "stage": "pack", "sample": "1", "measured_at": "2026-03-03", "quantity": "total_oxygen",
            "value": 80.0, "unit": "µg/L"}  # fmt: skip


@pytest.fixture
def packed_only(cellar: Build) -> PackTable:
    """Three runs, of which one's batch is on the batch list."""
    return link(
        cellar(
            batches=[{"batch": "3", "recipe": "Stout", "brewed_on": "2026-02-10"}],
            pack_runs=[
                _packed("R1", "1", Beer="Mild"),
                _packed("R2", "2", Seamer="A"),
                _packed("R3", "3", Beer="Mild"),
            ],
            readings=[_read("R1"), _read("R2"), _read("R3")],
        )
    )


def test_the_packaging_sheet_names_the_recipe_of_a_batch_that_is_not_listed(packed_only: PackTable) -> None:
    recipes = packed_only.rows.set_index("run")["recipe"]
    assert (recipes["R1"], recipes["R3"]) == ("Mild", "Stout")
    assert recipes.isna()["R2"]


def test_only_a_batch_without_any_recipe_is_counted(packed_only: PackTable) -> None:
    told = packed_only.unlinked.set_index("kind")
    assert told.loc["pack_runs", "count"] == 1
    assert "recipe is not known" in told.loc["pack_runs", "reason"]


def test_the_beer_is_no_practice_of_its_own(packed_only: PackTable) -> None:
    assert "beer" not in [practice.name for practice in packed_only.practices]
    assert "seamer" in [practice.name for practice in packed_only.practices] + list(packed_only.not_offered["name"])


def test_one_beer_in_two_spellings_is_one_recipe(cellar: Build) -> None:
    brewed = [("1", "Mild"), ("2", "mild"), ("3", "Mild"), ("4", "MILD"), ("5", "Stout")]
    table = link(
        cellar(
            batches=[{"batch": b, "recipe": recipe, "brewed_on": "2026-02-10"} for b, recipe in brewed],
            targets=[{"recipe": "mild", "quantity": "haze", "upper": 2.0}],
        )
    )
    assert table.batches["recipe"].tolist() == ["Mild", "Mild", "Mild", "Mild", "Stout"]
    assert table.targets["recipe"].tolist() == ["Mild"]


def test_the_tank_that_a_run_came_out_of_is_its_tank(cellar: Build) -> None:
    table = link(cellar(pack_runs=[_packed("R1", "1", **{"Ex tank": "BBT 2"})], readings=[_read("R1")]))
    assert table.rows["tank"].tolist() == ["BBT2"]
