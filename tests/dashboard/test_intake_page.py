"""Does the intake page read the waiting files, ask first, correct on request, and store only what was shown?"""

from __future__ import annotations

import io

import pytest
from dash import no_update
from dash.exceptions import PreventUpdate

from analysis.records import SheetAnswers
from dashboard.pages import intake
from dashboard.parts import conflicts, intake_history
from dashboard.parts.answers import control_id, sheet_key
from dashboard.parts.closer import column_options, shown_document
from dashboard.parts.context import context
from dashboard.parts.review import review
from dashboard.parts.waiting import asked_about, look

RUNS = (
    "Run,Batch,Packed on,Format,TPO (ppb),Haze (EBC),Foreman\n"
    "R1,2417,2026-05-20,can,62,0.8,MJ\n"
    "R2,2418,2026-05-27,can,lots,0.7,MJ\n"
)
ASKING = "Run,Batch,Packed on,Format\nR3,2419,03/04/2026,can\nR4,2420,05/06/2026,can\n"
KEY = sheet_key("asking.csv", "asking")


@pytest.fixture
def answering(app, monkeypatch):
    """The app answering a request; what it announces is kept."""
    told = []
    for module in (intake, intake_history, conflicts):
        monkeypatch.setattr(module, "announce", told.append)
    with app.server.test_request_context("/"):
        yield told


def wait(*files: tuple[str, str]) -> dict[str, object]:
    """Let files wait and return what the browser keeps of them."""
    stagings = context().stagings
    staging = stagings.begin()
    for name, text in files:
        stagings.receive(staging, name, io.BytesIO(text.encode()), limit=10_000)
    return {"token": staging.token, "at": 1}


def read(waiting, said=None, values=(), ids=()):
    return intake.read_files(waiting, None, said, list(values), list(ids))


def test_what_would_be_taken_in_is_shown_and_nothing_is_stored(answering):
    parts, remarks, closer, answers, hidden, not_ready, done = read(wait(("runs.csv", RUNS)))
    assert "1 row of 1 file can be taken in; 1 is rejected." in str(parts)
    assert "Packaging runs" in str(parts)
    assert "lots" in str(remarks)
    assert (closer, answers, hidden, not_ready, done) == (None, {}, False, False, None)
    assert context().ledger.state == 0
    assert answering == []


def test_a_question_is_asked_with_the_control_that_answers_it(answering):
    parts, *_ = read(wait(("asking.csv", ASKING)))
    shown = str(parts)
    assert "Questions to answer first" in shown
    assert str(control_id(KEY, "dates", "Packed on")) in shown
    assert "Day first: 4/3 is 4 March" in shown


def test_an_answer_lets_the_rows_in(answering):
    waiting = wait(("asking.csv", ASKING))
    read(waiting)
    parts, _, _, answers, _, not_ready, _ = read(waiting, None, ["month-day"], [control_id(KEY, "dates", "Packed on")])
    assert answers == {KEY: {"dates": {"Packed on": "month-day"}}}
    assert "Questions to answer first" not in str(parts)
    assert not not_ready
    staging = context().stagings.find(waiting["token"])
    months = staging.taken.records["pack_runs"]["packed_at"].dt.month.tolist()
    assert months == [3, 5]


def test_an_answer_that_cannot_stand_is_told_in_words(answering):
    waiting = wait(("runs.csv", RUNS))
    said = {sheet_key("runs.csv", "runs"): {"kind": "recipes for cake"}}
    parts, _, _, _, _, not_ready, _ = read(waiting, said)
    assert "An answer cannot stand" in str(parts)
    assert not_ready


@pytest.mark.parametrize("waiting", [{"token": "guessed"}, {"token": 3}, {}, "text"])
def test_files_that_do_not_wait_are_said_to_be_gone(answering, waiting):
    assert "no longer wait" in str(read(waiting)[0])


def test_before_anything_waits_nothing_is_read(answering):
    with pytest.raises(PreventUpdate):
        read(None)


def test_a_sheet_is_looked_at_closer(answering, triggered):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    triggered('{"sheet":0,"type":"look-closer"}.n_clicks')
    closer, answers = intake.look_closer([1], waiting, None, [], [])
    shown = str(closer)
    assert "runs of runs.csv" in shown
    assert "What Foreman means" in shown
    assert "keep as a further column" in shown
    assert answers == {}


@pytest.mark.parametrize("place", [-1, 1, 99, "0", None, True])
def test_a_forged_sheet_is_not_looked_at(answering, place):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    staging = context().stagings.find(waiting["token"])
    assert look(staging, place, {}) is None


def test_what_a_question_asks_is_not_asked_twice(answering):
    waiting = wait(("asking.csv", ASKING))
    read(waiting)
    staging = context().stagings.find(waiting["token"])
    assert asked_about(staging.taken.sheets[0]) == {("dates", "Packed on")}
    assert "asked above" in str(look(staging, 0, {}))


def test_the_controls_stand_at_what_was_found(answering):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    sheets = context().stagings.find(waiting["token"]).taken.sheets
    shown = shown_document(sheets)[sheet_key("runs.csv", "runs")]
    assert shown["columns"]["Run"] == "run"
    assert shown["columns"]["Foreman"] == "extra"
    assert shown["header_row"] == 1
    assert SheetAnswers.from_document({"sheets": {"runs.csv/runs": shown}})


def test_a_header_can_be_taken_for_whatever_the_kind_allows():
    groups = column_options("pack_runs", "total_oxygen")
    offered = {item["value"] for group in groups for item in group["items"]}
    assert {"run", "total_oxygen", "extra", "ignore"} <= offered
    assert [group["group"] for group in column_options(None, "ignore")] == ["Neither"]


def test_what_was_shown_is_put_on_record_in_a_persons_name(answering):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    done, hidden, still, answers, ended = intake.take_them_in(1, waiting, "  A. Weir ")
    assert hidden is True
    assert (still, answers, ended) == (None, None, {"token": waiting["token"]})
    assert "What the intake changed" in str(done)
    (entry,) = context().ledger.history()
    assert entry.by == "A. Weir"
    assert answering == [1]


def test_nothing_is_taken_in_twice(answering):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    intake.take_them_in(1, waiting, "A. Weir")
    again = intake.take_them_in(2, waiting, "A. Weir")
    assert "no longer wait" in str(again[0])
    assert len(context().ledger.history()) == 1


@pytest.mark.parametrize("who", [None, "", "   ", 4])
def test_nothing_is_taken_in_without_a_name(answering, who):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    told, *rest = intake.take_them_in(1, waiting, who)
    assert "Say your name first" in str(told)
    assert all(one is no_update for one in rest)
    assert context().ledger.state == 0


def test_what_was_not_read_is_not_taken_in(answering):
    assert "no longer wait" in str(intake.take_them_in(1, wait(("runs.csv", RUNS)), "A. Weir")[0])


def test_files_are_put_aside(answering):
    waiting = wait(("runs.csv", RUNS))
    assert "Nothing was stored" in str(intake.put_aside(1, waiting)[0])
    assert context().stagings.find(waiting["token"]) is None


@pytest.mark.parametrize("act", [lambda: intake.take_them_in(None, None, None), lambda: intake.put_aside(None, None)])
def test_opening_the_page_presses_no_button(answering, act):
    with pytest.raises(PreventUpdate):
        act()


def test_an_intake_is_taken_back_with_a_reason(answering, triggered):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    intake.take_them_in(1, waiting, "A. Weir")
    triggered('{"intake":1,"type":"withdraw"}.n_clicks')
    opened, number, told, fault, because = intake_history.ask([1])
    assert (opened, number, fault, because) == (True, 1, None, "")
    assert "packaging runs" in told
    assert "Say why" in str(intake_history.take_back(1, 1, " ", "A. Weir")[0])
    assert "Say your name" in str(intake_history.take_back(1, 1, "wrong file", None)[0])
    fault, still_open, done = intake_history.take_back(1, 1, "wrong file", "A. Weir")
    assert (fault, still_open) == (None, False)
    assert done is not None
    assert answering == [1, 2]
    assert context().ledger.history()[0].withdrawn is not None
    assert "wrong file" in str(intake_history.show_history(2))


@pytest.mark.parametrize("number", [1, 99])
def test_what_cannot_be_taken_back_is_told_in_words(answering, number):
    fault, still_open, _ = intake_history.take_back(1, number, "a reason", "A. Weir")
    assert "It was not taken back." in str(fault)
    assert still_open is True


def test_a_contradiction_is_shown_and_settled(answering, triggered):
    for value in ("62", "82"):
        header = "Run,Batch,Stage,Sample,Measured at,Quantity,Value,Unit"
        text = f"{header}\nR1,2417,pack,1,2026-05-20 10:00,TPO,{value},ppb\n"
        waiting = wait((f"qc {value}.csv", text))
        read(waiting)
        intake.take_them_in(1, waiting, "A. Weir")
    (conflict,) = context().ledger.conflicts()
    shown = str(conflicts.show_conflicts(2))
    assert "total package oxygen" in shown
    assert "value 62 µg/L" in shown
    assert "value 82 µg/L" in shown
    triggered(f'{{"conflict":{conflict.number},"type":"conflict-settle"}}.n_clicks')
    keep = str(conflict.claims[1].record)
    assert "Choose the value" in str(conflicts.settle(1, None, "checked", "A. Weir"))
    assert "How" not in str(conflicts.settle(1, keep, "", "A. Weir"))
    assert "settled meanwhile" in str(conflicts.settle(1, "999999", "checked", "A. Weir"))
    assert conflicts.settle(1, keep, "checked the book", "A. Weir") is None
    assert context().ledger.conflicts() == ()
    assert conflicts.show_conflicts(3) is None


def test_the_review_adds_up(answering):
    waiting = wait(("runs.csv", RUNS), ("asking.csv", ASKING))
    read(waiting)
    found = review(context().stagings.find(waiting["token"]).taken)
    assert found.rows == found.accepted + found.rejected + found.ignored == 4
    assert (found.files, found.questions) == (2, 1)


def test_the_rejected_rows_are_fetched_with_the_token(answering, app):
    waiting = wait(("runs.csv", RUNS))
    read(waiting)
    answer = app.server.test_client().get(f"/intake/rejected.xlsx?waiting={waiting['token']}")
    assert answer.status_code == 200
    assert answer.data[:2] == b"PK"


def test_what_a_bare_number_counts_is_shown_and_can_be_said(answering):
    text = "Run,Batch,Packed on,TPO 1 (ppb),TPO 2 (ppb)\nR1,7,2026-03-02,80,82\nR2,8,2026-03-03,90,91\n"
    waiting, key = wait(("cans.csv", text)), sheet_key("cans.csv", "cans")
    _, remarks, *_ = read(waiting)
    assert "TPO 1 (ppb), TPO 2 (ppb): taken for a pack each" in str(remarks)
    staging = context().stagings.find(waiting["token"])
    shown = str(look(staging, 0, {}))
    assert "pack 2, as TPO 1 (ppb)" in shown
    control = control_id(key, "numbers", "TPO 1 (ppb)")
    assert str(control) in shown
    answers = read(waiting, None, ["replicate"], [control])[3]
    assert answers == {key: {"numbers": {"TPO 1 (ppb)": "replicate"}}}
    assert staging.taken.records["readings"]["replicate"].tolist() == ["1", "2", "1", "2"]
    assert "reading 2, as TPO 1 (ppb)" in str(look(staging, 0, answers))
