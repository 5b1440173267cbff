"""Does the oxygen page draw the steps, tell them as a table, and let them be taken away?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.pickup import pickup
from analysis.ledger import Snapshot
from analysis.linking import PackTable, link
from dashboard.figures.step_figure import step_figure
from dashboard.pages import oxygen
from dashboard.parts import exports
from dashboard.theme import PALETTES

BATCHES = 16
LEVELS = {"fermenter": 10.0, "bright_tank": 30.0, "filler": 25.0, "pack": 70.0}


@pytest.fixture(scope="module")
def cellar() -> PackTable:
    """Two recipes whose oxygen stands at ``LEVELS``, a little apart from batch to batch: it falls on to the filler."""
    draw = np.random.default_rng(13)
    frames: dict[str, list[dict]] = {"batches": [], "pack_runs": [], "readings": []}
    for place in range(BATCHES):
        batch, run, packed = str(place), f"R{place}", pd.Timestamp("2026-03-02 10:00") + pd.Timedelta(days=4 * place)
        recipe = ("P40", "I62")[place % 2]
        frames["batches"].append({"batch": batch, "recipe": recipe, "brewed_on": packed - pd.Timedelta(days=14)})
        frames["pack_runs"].append({"run": run, "batch": batch, "packed_at": packed, "format": "can", "line": "1"})
        for stage, hours in (("fermenter", -60), ("bright_tank", -20), ("filler", 0.2), ("pack", 2)):
            value = LEVELS[stage] + float(draw.normal(0, 1))
            quantity = "total_oxygen" if stage == "pack" else "dissolved_oxygen"
            reading = {
                "stage": stage, "measured_at": packed + pd.Timedelta(hours=hours), "quantity": quantity, "value": value,
                "meter": "DO1",
            }  # fmt: skip
            frames["readings"].append(
                {**reading, **({"run": run} if stage in ("filler", "pack") else {"batch": batch})}
            )
    return link(Snapshot.of({kind: pd.DataFrame(rows) for kind, rows in frames.items()}, state=7))


@pytest.fixture
def on_cellar(app, cellar, monkeypatch):
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: cellar)
    with app.server.test_request_context("/"):
        yield app


def test_each_step_begins_where_the_last_ended(cellar):
    finding = pickup(cellar)
    first, *blocks = step_figure(finding, PALETTES["light"])["data"]
    assert first["y"][0] == pytest.approx(10, abs=1)
    ends = [first["y"][0]] + [block["base"][0] + block["y"][0] for block in blocks]
    assert [block["base"][0] for block in blocks] == pytest.approx(ends[:-1])
    assert [block["y"][0] for block in blocks] == pytest.approx([20, -5, 45], abs=1.5)


def test_a_fall_is_an_open_block_of_another_colour(cellar):
    blocks = step_figure(pickup(cellar), PALETTES["dark"])["data"]
    by_name = {block["name"]: block["marker"] for block in blocks}
    falls, rises = by_name["from tank to filler"], by_name["from filler to closed pack"]
    assert falls["color"] == "rgba(0,0,0,0)"
    assert rises["color"] != falls["line"]["color"]


def test_the_interval_is_the_findings(cellar):
    finding = pickup(cellar)
    block = step_figure(finding, PALETTES["light"])["data"][-1]
    rise = finding.steps[-1].rise
    assert block["error_y"]["array"] == [pytest.approx(rise.high - rise.value)]
    assert block["error_y"]["arrayminus"] == [pytest.approx(rise.value - rise.low)]


def test_the_page_tells_steps_points_balance_and_dangers(on_cellar):
    answer, nothing, hidden, figure, caption, below = oxygen.show(None, "light", 7)
    assert (nothing, hidden) == (None, False)
    assert "from filler to closed pack" in answer
    assert figure["data"]
    assert "to filler −" in caption
    assert "An open block is a fall: more oxygen was consumed by yeast there than came in." in caption
    assert "Fell instead" in str(below)
    told = str(below)
    for words in ("Rise of oxygen at each step", "How often each point passes", "Recipe P40", "EH40", "clears nothing"):
        assert words in told, words


def test_a_selection_is_kept(on_cellar):
    below = str(oxygen.show({"recipes": ["P40"]}, "light", 7)[5])
    assert "Over 8 batches" in below


def test_nothing_read_says_what_to_do(app):
    with app.server.test_request_context("/"):
        answer, nothing, hidden, *_ = oxygen.show(None, "light", 0)
        assert "Too few batches" in answer
        assert "bright tank" in str(nothing)
        assert hidden
        with pytest.raises(exports.NothingToTakeError):
            oxygen.take_away(Filters(), {}, "csv")


def test_the_rises_can_be_taken_away(on_cellar, cellar):
    frame = oxygen.rises_frame(pickup(cellar))
    assert set(frame["step"]) == {"racking", "to_filler", "closing"}
    assert {"all", "recipe"} <= set(frame["by"])
    assert b"to_filler" in oxygen.take_away(Filters(), {}, "csv")


def test_what_passes_its_limit_can_be_taken_away(on_cellar, cellar):
    found = pickup(cellar)
    frame = oxygen.limits_frame(found)
    assert frame["above_limit"].tolist() == [point.passed for point in found.points]
    assert b"a working target" in oxygen.TAKE_AWAY["oxygen-limits"](Filters(), {}, "csv")


def test_packs_opened_late_are_told_or_refused_run_by_run(cellar):
    rows = cellar.rows.copy()
    rows.loc[rows["run"] == "R0", "age_days"] = 3.0
    rows.loc[rows["run"] == "R1", "age_days"] = 90.0
    told = str(oxygen.late_part(pickup(replace(cellar, rows=rows)).late))
    assert "of 1 it can be told what they held at closing, of 1 no longer" in told
    assert "too late" in told
    assert oxygen.late_part(pickup(replace(cellar, rows=rows)).late)[0].children == "Packs that were opened late"
