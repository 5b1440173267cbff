"""Does the finding recover what is true of the invented brewery: the shift on line 1, and no other?"""

import math

import pandas as pd
import pytest

from analysis.findings.stability import stability
from analysis.linking import PackTable
from analysis.vocabulary import practice
from data_demo.brewery import simulate
from data_demo.truth import OXYGEN_SHIFT

NOTHING = pd.DataFrame()


@pytest.fixture(scope="module")
def table():
    """The packs as the meters read them, before any hand wrote them down."""
    rows = [
        {
            "run": pack.run.run,
            "batch": pack.run.key,
            "recipe": pack.run.recipe.code,
            "format": pack.run.form.format,
            "line": pack.run.form.line,
            "tank": pack.run.batch.fermenter,
            "packed_at": pack.run.packed_at,
            "age_days": (pack.measured_at - pack.run.packed_at).total_seconds() / 86_400,
            "total_oxygen": math.nan if pack.total is None else pack.total,
            "total_oxygen_censored": 0.0,
            "total_oxygen_meter": pack.oxygen_meter.name,
            "rouse_count": pack.run.practices["rouse_count"],
            "transfers": pack.run.practices["transfers"],
        }
        for pack in simulate().packs
    ]
    frame = pd.DataFrame(rows).astype({"packed_at": "datetime64[us]"}).sort_values("packed_at", kind="stable")
    practices = tuple(practice(name) for name in ("rouse_count", "transfers", "tank", "line"))
    empty = dict.fromkeys(
        ("tastings", "readings", "operations", "batches", "unlinked", "evidence", "blends", "targets", "not_offered"),
        NOTHING,
    )
    return PackTable(state=1, rows=frame.reset_index(drop=True), practices=practices, **empty)


@pytest.fixture(scope="module")
def finding(table):
    return stability(table, "total_oxygen")


def test_the_shift_on_its_line_is_dated_and_sized(finding):
    shifted = next(series for series in finding.across if series.line == OXYGEN_SHIFT.line)
    up, down = shifted.moves
    assert up.earliest <= pd.Timestamp(OXYGEN_SHIFT.begins) + pd.Timedelta(days=7)
    assert up.latest >= pd.Timestamp(OXYGEN_SHIFT.begins)
    assert abs(up.at - pd.Timestamp(OXYGEN_SHIFT.begins)) <= pd.Timedelta(days=14)
    assert up.low < 100 * math.expm1(OXYGEN_SHIFT.log_effect) < up.high
    assert down.earliest <= pd.Timestamp(OXYGEN_SHIFT.repaired) <= down.latest
    assert down.percent < 0
    assert not up.gradual


def test_the_other_line_did_not_move(finding):
    assert all(series.moves == () for series in finding.across if series.line != OXYGEN_SHIFT.line)


def test_the_answer_names_the_line_and_the_month(finding):
    assert f"line {OXYGEN_SHIFT.line}, all recipes: +" in finding.answer
    assert "January 2026" in finding.answer


def test_no_practice_is_said_to_coincide_with_a_worn_part(finding):
    shifted = next(series for series in finding.across if series.line == OXYGEN_SHIFT.line)
    assert shifted.moves[0].coincides_with == ()
