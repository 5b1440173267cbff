"""Does the readiness page offer the tanks, draw a forecast with its target, and say what it cannot?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.readiness import ready
from analysis.findings.readiness_changes import Change
from analysis.ledger import Snapshot
from analysis.linking import PackTable, link
from dashboard.figures.readiness_figure import readiness_figure
from dashboard.pages import readiness
from dashboard.parts import exports
from dashboard.theme import PALETTES

PACKED, STIRRED, NOT_STIRRED = "20", "21", "22"


@pytest.fixture(scope="module")
def cellar() -> PackTable:
    """Twenty-one packed batches whose haze falls from 8 to 1 EBC with 15 hours; one in tank, one not yet stirred."""
    draw = np.random.default_rng(12)
    first = pd.Timestamp("2026-03-02 06:00")
    frames: dict[str, list[dict]] = {"batches": [], "operations": [], "pack_runs": [], "readings": []}
    for place in range(23):
        batch, brewed = str(place), first + pd.Timedelta(days=3 * place)
        frames["batches"].append({"batch": batch, "recipe": "P40", "brewed_on": brewed, "vessel": "FV1"})
        stirred = brewed + pd.Timedelta(days=6)
        if batch == NOT_STIRRED:
            continue
        frames["operations"].append(
            {"batch": batch, "operation": "rouse", "vessel": "FV1", "started_at": stirred, "minutes": 20.0}
        )
        floor = float(np.exp(draw.normal(0, 0.1)))
        for hours in (2, 20, 41, 66) if batch != STIRRED else (2, 20):
            haze = floor * (1 + 7 * np.exp(-hours / 15)) * float(np.exp(draw.normal(0, 0.03)))
            at = stirred + pd.Timedelta(minutes=20, hours=hours)
            frames["readings"].append(
                {"batch": batch, "stage": "fermenter", "measured_at": at, "quantity": "haze", "value": haze}
            )
        if batch != STIRRED:
            packed = stirred + pd.Timedelta(days=5)
            run = {"run": f"R{batch}", "batch": batch, "packed_at": packed, "format": "can"}
            frames["pack_runs"].append(run)
            frames["readings"].append(
                {
                    "run": f"R{batch}", "stage": "pack", "sample": "1", "measured_at": packed, "quantity": "haze",
                    "value": floor,
                }
            )  # fmt: skip
    frames["targets"] = [{"recipe": "P40", "quantity": "haze", "upper": 1.5}]
    return link(Snapshot.of({kind: pd.DataFrame(rows) for kind, rows in frames.items()}, state=6))


@pytest.fixture
def on_cellar(app, cellar, monkeypatch):
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: cellar)
    with app.server.test_request_context("/"):
        yield app


def test_the_tanks_are_offered_and_one_that_settles_is_chosen(on_cellar):
    options, chosen = readiness.offer_batches(6, None)
    assert [option["value"] for option in options][-2:] == [STIRRED, NOT_STIRRED]
    assert chosen == STIRRED
    assert "P40" in options[-1]["label"]
    assert readiness.offer_batches(6, PACKED)[1] == PACKED


def test_a_tank_is_shown_with_its_day(on_cellar):
    answer, nothing, hidden, name, figure, caption, below = readiness.show(STIRRED, "90", "light")
    assert (nothing, hidden, name) == (None, False, "21, P40, FV1")
    assert "1.50 EBC" in answer
    assert "Long dashes are the target, 1.50 EBC." in caption
    assert "a bound, not a forecast" in caption
    assert [trace["name"] for trace in figure["data"]] == ["Interval of a reading", "Expected", "Read"]
    told = str(below)
    assert "Forecast of batch 21" in told
    assert "clears nothing" in told


def test_the_figure_holds_readings_interval_target_and_day(cellar):
    told = ready(cellar, STIRRED, changes=False)
    figure = readiness_figure(told, PALETTES["dark"])
    assert figure["data"][2]["y"] == pytest.approx(told.read["haze"].tolist())
    assert figure["data"][1]["y"] == [day.expected for day in told.days]
    target, upright = figure["layout"]["shapes"]
    assert target["y0"] == target["y1"] == 1.5
    assert upright["x0"] == pytest.approx(pd.Timestamp(told.ready_on).value / 1e6)
    assert figure["layout"]["yaxis"]["type"] == "log"


def test_what_was_never_stirred_is_answered_without_a_figure(on_cellar):
    answer, nothing, hidden, *_ = readiness.show(NOT_STIRRED, "90", "light")
    assert "no rouse or finings on record" in answer
    assert hidden
    assert nothing is None


def test_nothing_in_tank_says_what_to_do(app):
    with app.server.test_request_context("/"):
        assert readiness.offer_batches(0, None) == ([], None)
        assert "Take your brew book" in str(readiness.show(None, "90", "light")[1])


def test_a_forged_confidence_is_the_usual_one(on_cellar):
    assert readiness.show(STIRRED, "../7", "light")[0] == readiness.show(STIRRED, "90", "light")[0]


def test_the_forecast_can_be_taken_away(on_cellar):
    assert b"chance_in_target" in readiness.take_away(Filters(), {"batch": STIRRED}, "csv")
    for asked in ({}, {"batch": NOT_STIRRED}, {"batch": "none"}):
        with pytest.raises(exports.NothingToTakeError):
            readiness.take_away(Filters(), asked, "csv")


@pytest.mark.parametrize(
    "changes", [(), (Change("cone_dumps", "Cone dumps", "one dump", -6, -9, -3, "lowers", False),)]
)
def test_what_more_goes_with_can_be_taken_away_where_it_is_told(on_cellar, cellar, monkeypatch, changes):
    told = replace(ready(cellar, STIRRED), changes=changes)
    monkeypatch.setattr(readiness, "forecast_of", lambda *_asked: told)
    take = readiness.TAKE_AWAY["readiness-changes"]
    if not changes:
        with pytest.raises(exports.NothingToTakeError):
            take(Filters(), {"batch": STIRRED}, "csv")
        return
    assert b"Cone dumps,one dump,-6" in take(Filters(), {"batch": STIRRED}, "csv")
