"""Does the packs page show the pack table, a page of rows at a time, and each run's history?"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.ledger import Snapshot
from analysis.linking import link
from dashboard.figures.time_line import time_line
from dashboard.pages import packs
from dashboard.parts.history import run_history
from dashboard.parts.moves import moves_of


def test_the_newest_packs_come_first_a_page_at_a_time(table):
    page = packs.view(table, Filters(), 0)
    assert page.place == "Packs 1 to 40 of 72"
    assert len(page.rows) == packs.ROWS
    assert page.rows[0][0].children == "R523"
    assert packs.view(table, Filters(), 40).place == "Packs 41 to 72 of 72"


@pytest.mark.parametrize(("asked", "given"), [(-40, 0), (40, 40), (41, 40), (1_000, 40)])
def test_a_place_outside_the_table_is_brought_inside(table, asked, given):
    assert packs.view(table, Filters(), asked).start == given


def test_the_selection_holds(table):
    page = packs.view(table, Filters(recipes=("P40",)), 0)
    assert {row[2] for row in page.rows} == {"P40"}
    assert "recipe=P40" in page.rows[0][0].href


def test_each_row_has_a_cell_for_each_column(table):
    page = packs.view(table, Filters(), 0)
    assert {len(row) for row in page.rows} == {len(page.columns)}
    labels = [column.label for column in page.columns]
    assert labels[:6] == ["Run", "Batch", "Recipe", "Format", "Packed", "Sample"]
    assert "Total package oxygen" in labels
    assert "Isinglass dose" in labels


def test_a_censored_reading_keeps_its_sign(table):
    page = packs.view(table, Filters(), 40)
    haze = [column.label for column in page.columns].index("Haze")
    assert {row[haze] for row in page.rows if row[0].children == "R503"} == {"<0.800"}


def test_the_page_shows_the_table_for_what_the_browser_keeps(on_table, triggered):
    triggered("kept-filters.data")
    answer, shown, _, place, start, at_first, at_last = packs.show({"recipes": ["I62"]}, None, None, 0)
    assert answer.startswith("36 packs of 12 runs from 12 batches")
    assert "/take-away/packs.xlsx?recipe=I62" in str(shown)
    assert (place, start, at_first, at_last) == ("Packs 1 to 36 of 36", 0, True, True)


@pytest.mark.parametrize(("button", "start"), [("packs-later", 40), ("packs-earlier", 0), ("elsewhere", 0)])
def test_the_arrows_turn_the_page(on_table, triggered, button, start):
    triggered(f"{button}.n_clicks")
    assert packs.show({}, 1, 1, 0)[4] == start


def test_a_selection_without_packs_says_so(on_table, triggered):
    triggered("kept-filters.data")
    _, shown, *_ = packs.show({"recipes": ["X99"]}, None, None, 0)
    assert "No pack fits this selection" in str(shown)


def test_a_runs_history_goes_from_brew_to_tasting(table):
    history = run_history(table, "R500")
    assert history is not None
    assert [event.lane for event in history.events] == [
        "brew",
        "cellar",
        "cellar",
        "packaging",
        "reading",
        "tasting",
    ]
    assert history.sentence == "P40 in cans, packed on 5 January 2026, from batch 100."
    assert history.events[0].at == datetime(2025, 12, 18, 9, 0)


def test_a_history_holds_what_was_done_under_a_new_number():
    moments = [datetime(2026, 3, day) for day in (2, 10, 12, 16)]
    records = {
        "batches": [{"batch": "100", "recipe": "P40", "brewed_on": moments[0]}],
        "transfers": [
            {"from_batch": "100", "to_batch": "900", "moved_at": moments[1], "volume": 24.0, "to_vessel": "BB1"}
        ],
        "operations": [{"batch": "900", "operation": "rouse", "started_at": moments[2], "minutes": 20.0}],
        "pack_runs": [{"run": "R1", "batch": "900", "packed_at": moments[3], "format": "can"}],
        "readings": [{"run": "R1", "stage": "pack", "measured_at": moments[3], "quantity": "haze", "value": 1.0}],
    }
    records = Snapshot.of({kind: pd.DataFrame(rows) for kind, rows in records.items()})
    history = run_history(link(records), "R1", records.frame("transfers"))
    told = [event.what for event in history.events]
    assert told == ["Brewed", "Moved", "Roused", "Packed in cans", "Read in the pack"]
    assert history.events[1].detail == "24.0 hL of batch 100 into batch 900 to BB1"
    assert history.batches == (("100", 1.0),)


def _moves(*rows: tuple[str, str, str]) -> pd.DataFrame:
    moves = pd.DataFrame(rows, columns=["from_batch", "to_batch", "moved_at"])
    moves["moved_at"] = pd.to_datetime(moves["moved_at"])
    return moves.assign(volume=float("nan"), from_vessel="FV1", to_vessel="BB1")


def test_only_the_moves_of_these_batches_in_their_own_year_are_told():
    batches = pd.DataFrame({"batch": ["B5", "7 (2026)"], "number": ["B5", "7"]})
    batches["brewed_on"] = pd.to_datetime(["2026-03-02", "2026-03-03"])
    moves = _moves(("5", "B5", "2026-03-09"), ("L5", "L5", "2026-03-09"), ("G7", "7", "2026-03-10"),
                   ("7", "7", "2024-03-10"), ("8", "7", "2026-03-11"), ("7", "8", "2026-03-11"),
                   ("7", "7", "2026-04-20"))  # fmt: skip
    told = [(move.batch, move.detail) for move in moves_of(moves, batches, datetime(2026, 4, 1))]
    assert told == [
        ("B5", "from FV1 to BB1"),
        ("7 (2026)", "from FV1 to BB1"),
        ("7 (2026)", "of batch 8 into batch 7 (2026) from FV1 to BB1"),
    ]


def test_a_history_is_told_in_words(table):
    history = run_history(table, "R501")
    told = {event.what: event.detail for event in history.events}
    assert told["Roused"] == "for 15 min"
    assert told["Finings added"] == "350 mL/hL, isinglass"
    assert told["Tasted"] == "by 1 panellist: papery 2.0 on average"
    assert "total package oxygen" in told["Read in the pack"]
    assert "in 3 readings" in told["Read in the pack"]


def test_a_run_that_is_not_on_record_has_no_history_and_the_page_is_the_table(table, on_table):
    assert run_history(table, "R999") is None
    assert "packs-table" in str(packs.layout(run="R999"))


def test_the_address_of_a_run_shows_its_history(on_table):
    shown = str(packs.layout(run="R500"))
    assert "Run R500" in shown
    assert "From brew to tasting" in shown


def test_the_time_line_says_itself_in_one_sentence_and_keeps_its_marks_inside(table):
    figure = time_line(run_history(table, "R500"))
    assert figure.to_plotly_json()["props"]["aria-label"] == "Time line of run R500: 6 events, listed below."
    marks = [mark for lane in figure.children[1:] for mark in lane.children[1].children]
    places = [float(mark.style["left"].rstrip("%")) for mark in marks]
    assert len(places) == 6
    assert min(places) >= 0
    assert max(places) <= 100


@pytest.fixture
def again(table):
    """The cellar as it is once R500 was used again: the run of the day before goes by that number and its year."""
    days = {"R500": "R500 (2026)", "R501": "R500 (2025)"}
    renamed = {
        name: getattr(table, name).assign(run=getattr(table, name)["run"].replace(days))
        for name in ("rows", "readings", "tastings", "blends")
    }
    rows = renamed["rows"]
    earlier = rows["packed_at"].where(rows["run"].ne("R500 (2025)"), pd.Timestamp("2025-01-06"))
    return replace(table, **{**renamed, "rows": rows.assign(packed_at=earlier)})


def test_an_older_address_of_a_number_that_was_used_again_asks_which_run_is_meant(again, app, monkeypatch):
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: again)
    with app.server.test_request_context("/"):
        shown = str(packs.layout(run="R500"))
        assert "2 runs had this number. Which one is meant?" in shown
        assert shown.index("Run R500 (2026)") < shown.index("Run R500 (2025)")
        assert "6 January 2025" in shown
        for named in ("R500 (2025)", "R500 (2025-01)"):
            shown = str(packs.layout(run=named))
            assert "Run R500 (2025)" in shown
            assert "From brew to tasting" in shown
