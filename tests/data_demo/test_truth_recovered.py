"""Does the tool find in the untidy workbooks what the truth says is in them, through the same door as a user's?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.findings.meters import meters
from analysis.findings.pickup import pickup
from analysis.findings.practices import practices
from analysis.findings.stability import stability
from analysis.ledger import Commit, Ledger, snapshot
from analysis.linking import PackTable, pack_table
from analysis.problems import Severity
from analysis.records import Intake, SheetAnswers, SourceFile, take_in
from data_demo import run_frame, simulate
from data_demo.laboratory import meter_bias
from data_demo.sheet_truth import BAD_ROWS, SHEETS, BadRow, SheetTruth
from data_demo.truth import (
    CLIMB,
    EFFECTS,
    METER_DRIFT,
    METERS,
    NO_EFFECT,
    OXYGEN_SHIFT,
    PAIR,
    PICKUP,
    RECIPES,
    TARGETS,
    TRAP,
    Effect,
    effect,
)
from data_demo.workbooks import write_workbooks

CAN_BE_TOLD = [each for each in EFFECTS if each.told is not None]
WHAT_TO_ANSWER = {
    "sheets": {"sent away.xlsx/Results": {"units": {"Haze (FTU)": "ASBC FTU"}, "dates": {"Date": "day-month"}}}
}


@dataclass(frozen=True)
class Way:
    """Everything along the way from the files to the pack table."""

    files: tuple[SourceFile, ...]
    taken: Intake
    ledger: Ledger
    commit: Commit
    table: PackTable


@pytest.fixture(scope="module")
def way(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Way]:
    folder = tmp_path_factory.mktemp("demo")
    files = tuple(SourceFile(path, path.name) for path in write_workbooks(folder))
    taken = take_in(files)
    with Ledger.open(f"sqlite:///{folder / 'ledger.sqlite'}") as ledger:
        commit = ledger.commit(taken, by="the demo")
        yield Way(files, taken, ledger, commit, pack_table(ledger))


@pytest.fixture(scope="module")
def documents(way: Way) -> dict[str, dict[str, Any]]:
    return {measure: practices(way.table, measure).as_document() for measure in ("haze", "total_oxygen")}


# --- records ---


@pytest.mark.parametrize("each", SHEETS, ids=lambda e: f"{e.file}/{e.sheet}")
def test_each_sheet_is_taken_for_what_it_is_and_its_rows_add_up(way: Way, each: SheetTruth) -> None:
    sheet = next(s for s in way.taken.sheets if (s.file, s.sheet) == (each.file, each.sheet))
    assert (sheet.kind, sheet.header_row) == (each.kind, each.header_row)
    assert (sheet.accepted, sheet.rejected, sheet.ignored) == (each.accepted, each.rejected, each.ignored)
    assert sheet.rows == sheet.accepted + sheet.rejected + sheet.ignored


@pytest.mark.parametrize("each", BAD_ROWS, ids=lambda e: f"{e.sheet}: {e.why}")
def test_each_bad_row_is_turned_away_with_the_place_and_the_fault(way: Way, each: BadRow) -> None:
    found = [
        p for p in way.taken.problems
        if (p.file, p.sheet, p.column, p.value) == (each.file, each.sheet, each.column, each.value)
    ]  # fmt: skip
    assert [p.severity for p in found] == [Severity.REJECTED]
    assert found[0].row is not None
    assert found[0].remedy


def test_nothing_sound_is_turned_away(way: Way) -> None:
    rows = {(p.file, p.sheet, p.row) for p in way.taken.problems if p.severity is Severity.REJECTED}
    assert len(rows) == len(BAD_ROWS)


def test_what_cannot_be_known_is_asked_and_an_answer_lets_it_in(way: Way) -> None:
    asked = [p for p in way.taken.problems if p.severity is Severity.QUESTION]
    assert {(p.sheet, p.column) for p in asked} == {("Results", "Date"), ("Results", "Haze (FTU)")}
    file = next(f for f in way.files if f.name == "sent away.xlsx")
    answered = take_in([file], answers=SheetAnswers.from_document(WHAT_TO_ANSWER))
    assert [(s.accepted, s.rejected) for s in answered.sheets] == [(6, 0)]
    assert answered.records["readings"]["value"].between(0.2, 300).all()


def test_a_figure_that_was_typed_in_two_ways_is_shown_and_not_used(way: Way) -> None:
    (conflict,) = way.ledger.conflicts()
    readings = snapshot(way.ledger).frame("readings")
    typed = way.taken.records["readings"]
    twice = typed[typed["file"].eq("Line 1 cans.xlsx") & typed["quantity"].eq("dissolved_oxygen")]
    keys = ["run", "sample", "measured_at", "quantity"]
    both = twice[twice.duplicated(keys, keep=False)]
    assert len(both) == 2
    assert readings.merge(both[keys], on=keys).empty
    assert conflict is not None


def test_words_for_lost_readings_leave_no_reading(way: Way) -> None:
    readings = way.taken.records["readings"]
    assert readings["value"].notna().all()
    below = readings[readings["sign"] == "<"]
    assert (below["value"] == 5).all()
    assert below["quantity"].eq("dissolved_oxygen").all()
    assert len(below) > 30


def test_the_same_files_again_add_nothing(way: Way) -> None:
    before = way.ledger.state
    again = way.ledger.commit(take_in(way.files), by="the demo")
    assert sum(count.added + count.updated for count in again.counts.values()) == 0
    assert way.ledger.state == before


# --- linking ---


def test_practices_stand_as_they_were_when_each_run_was_packed(way: Way) -> None:
    truth = run_frame(simulate()).set_index("run")
    got = way.table.rows.groupby("run").first()
    assert set(got.index) == set(truth.index)
    names = [name for name in truth.columns if name in {p.name for p in way.table.practices} and name != "tank"]
    assert {"rouse_minutes", "silica_sol_dose", "auxiliary_dose", "air_bled", "transfers", "yeast_generation"} < set(
        names
    )
    for name in names:
        told, true = got[name].align(truth[name], join="right")
        share = _agree(told, true.fillna(0) if name == "dry_hop_days" else true).mean()
        assert share >= 0.98, f"{name}: {share:.1%} of the runs agree"


def _agree(told: pd.Series, true: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(true):
        close = np.isclose(told.astype(float), true.astype(float), rtol=0.01, atol=0.02)
        return pd.Series(close | (told.isna() & true.isna()).to_numpy(), true.index)
    return told.astype("str") == true.astype("str")


def test_numbers_that_come_round_again_do_not_mix(way: Way) -> None:
    truth = {run.run: run for run in simulate().runs}
    rows = way.table.rows.drop_duplicates("run")
    assert all(truth[run].recipe.code == recipe for run, recipe in zip(rows["run"], rows["recipe"], strict=True))
    again = rows[rows["batch"].str.contains(" (", regex=False) & ~rows["blended"]]
    assert len(again) > 20
    assert all(truth[run].key == batch for run, batch in zip(again["run"], again["batch"], strict=True))


def test_a_blend_has_its_shares_by_volume(way: Way) -> None:
    blends = [run for run in simulate().runs if len(run.sources) > 1]
    for run in blends:
        shares = way.table.blends[way.table.blends["run"] == run.run].set_index("batch")["share"]
        assert set(shares.index) == {source.key for source in run.sources}
        assert all(shares[source.key] == pytest.approx(source.share, abs=0.02) for source in run.sources)
    assert len(blends) >= 3


@pytest.mark.parametrize("measure", ["haze", "total_oxygen"])
def test_readings_come_through_in_the_kept_unit(way: Way, measure: str) -> None:
    """Readings of the sheets in NTU and of those with shaken oxygen alone agree with the simulated packs."""
    fresh = way.table.rows[way.table.rows["age_days"] < 3]
    fresh = fresh[fresh[f"{measure}_meter"] != METER_DRIFT.meter]
    told = np.log(fresh[measure]).groupby(fresh["run"]).mean()
    true = np.log(run_frame(simulate()).set_index("run")[measure])
    gap = (told - true.reindex(told.index)).dropna()
    assert len(gap) > 100
    assert gap.abs().quantile(0.95) < 0.06


# --- findings ---


@pytest.mark.parametrize("measure", ["haze", "total_oxygen"])
def test_each_true_effect_lies_in_its_interval(documents: dict[str, dict[str, Any]], measure: str) -> None:
    document = documents[measure]
    held = 0
    for row in document["practices"]:
        name = row["practice"].split(" + ")[0]
        if name in {e.practice for e in EFFECTS} | set(NO_EFFECT) - {"line"}:
            true = document["level"] * math.expm1(_true_log_effect(row["practice"], measure) * row["step"])
            assert row["low"] <= true <= row["high"], row["practice"]
            held += 1
    assert held >= 12


def _true_log_effect(practice: str, measure: str) -> float:
    """Return the effect of one unit; of a pair, of one unit of the first that is named, the other following."""
    if {PAIR.first, PAIR.second} == set(practice.split(" + ")) and measure == "haze":
        one_step = PAIR.joint_log_effect / next(e.step for e in EFFECTS if e.practice == PAIR.first)
        return one_step if practice.startswith(PAIR.first) else one_step / PAIR.ratio
    return effect(practice, measure)


@pytest.mark.parametrize("each", CAN_BE_TOLD, ids=lambda e: f"{e.practice} {e.measure}")
def test_each_effect_is_told_as_it_is(documents: dict[str, dict[str, Any]], each: Effect) -> None:
    row = next(r for r in documents[each.measure]["practices"] if r["practice"] == each.practice)
    assert row["verdict"] == each.told


def test_what_does_nothing_is_never_said_to_do_something(documents: dict[str, dict[str, Any]]) -> None:
    for measure, document in documents.items():
        rows = [r for r in document["practices"] if not effect(r["practice"], measure) and r["practice"] in NO_EFFECT]
        assert rows
        assert {r["verdict"] for r in rows} <= {"no practical difference", "cannot tell yet"}


def test_the_trap_is_not_fallen_into(way: Way, documents: dict[str, dict[str, Any]]) -> None:
    rows = way.table.rows.dropna(subset=[TRAP.measure, TRAP.practice])
    pooled = np.polyfit(rows[TRAP.practice], np.log(rows[TRAP.measure]), 1)[0]
    assert np.sign(pooled) == TRAP.pooled_sign
    row = next(r for r in documents[TRAP.measure]["practices"] if r["practice"] == TRAP.practice)
    assert row["verdict"] == ("lowers" if TRAP.within_sign < 0 else "raises")


def test_the_pair_is_told_as_one_and_named(documents: dict[str, dict[str, Any]]) -> None:
    rows = documents["haze"]["practices"]
    assert not {PAIR.first, PAIR.second} & {r["practice"] for r in rows}
    (joint,) = [r for r in rows if {PAIR.first, PAIR.second} == set(r["practice"].split(" + "))]
    assert joint["verdict"] == "lowers"
    assert any("moves together" in caution for caution in joint["cautions"])


def test_margins_are_those_that_the_brewery_set(way: Way, documents: dict[str, dict[str, Any]]) -> None:
    assert len(way.table.targets) == len(TARGETS)
    assert not any(document["margin"]["is_default"] for document in documents.values())


def test_the_shift_in_oxygen_is_found_with_its_dates(way: Way) -> None:
    document = stability(way.table, OXYGEN_SHIFT.measure).as_document()
    line = next(s for s in document["across_recipes"] if s["line"] == OXYGEN_SHIFT.line)
    up, down = line["shifts"]
    for shift, day in ((up, OXYGEN_SHIFT.begins), (down, OXYGEN_SHIFT.repaired)):
        assert datetime.fromisoformat(shift["earliest"]).date() <= day <= datetime.fromisoformat(shift["latest"]).date()
    percent = 100 * math.expm1(OXYGEN_SHIFT.log_effect)
    assert up["percent_low"] <= percent <= up["percent_high"]
    assert down["percent"] < 0
    assert not any(s["shifts"] for s in document["across_recipes"] if s["line"] != OXYGEN_SHIFT.line)


def test_the_slow_climb_of_one_recipe_is_found(way: Way) -> None:
    series = stability(way.table, CLIMB.measure).as_document()["series"]
    moved = {(s["recipe"], shift["percent"] > 0) for s in series for shift in s["shifts"]}
    assert moved == {(CLIMB.recipe, True)}
    own = next(s for s in series if s["recipe"] == CLIMB.recipe and s["shifts"])
    at = datetime.fromisoformat(own["shifts"][0]["at"]).date()
    assert CLIMB.begins <= at <= CLIMB.ends


def test_each_recipe_has_the_haze_that_is_stated(way: Way) -> None:
    early = way.table.rows[way.table.rows["packed_at"] < pd.Timestamp(CLIMB.begins)]
    medians = early.groupby("recipe")["haze"].median()
    assert all(medians[r.code] == pytest.approx(r.haze, rel=0.2) for r in RECIPES)


def test_the_drifting_meter_is_found_within_two_checks_of_its_date(way: Way) -> None:
    told = {m["meter"]: m for m in meters(snapshot(way.ledger), way.table).as_document()["meters"]}
    assert {name: told[name]["state"] for name in told} == {
        meter.name: "drifting" if meter.name == METER_DRIFT.meter else "steady" for meter in METERS
    }
    drifting = told[METER_DRIFT.meter]
    since = datetime.fromisoformat(drifting["since"]).date()
    assert abs(since - METER_DRIFT.begins) <= timedelta(weeks=2)
    last = max(c.checked_at for c in simulate().checks if c.meter.name == METER_DRIFT.meter)
    bias = meter_bias(next(m for m in METERS if m.name == METER_DRIFT.meter), last)
    assert drifting["low"] <= 100 * math.expm1(bias) <= drifting["high"]


def test_the_largest_pickup_is_at_closing_the_pack(way: Way) -> None:
    assert PICKUP.filler < 1 - PICKUP.filler
    assert "filler to closed pack" in pickup(way.table).as_document()["answer"].split(".")[0]
