"""Can a whole review be held on its page, by its callbacks alone?"""

from __future__ import annotations

import base64
from datetime import date, timedelta

import pytest
from dash.exceptions import PreventUpdate

from analysis.findings.baselines import FrozenPhase, freeze
from analysis.findings.filters import Filters
from analysis.findings.meters import meters
from analysis.findings.review import review as reviewed
from analysis.findings.review_drafts import AnswerDraft
from analysis.findings.review_matters import matters_on_record
from analysis.ledger import Snapshot
from dashboard.figures.review_figure import matter_chart, record_picture
from dashboard.pages import review, review_record
from dashboard.parts import review_form, review_memory
from dashboard.parts.context import context
from dashboard.parts.review_list import next_open
from dashboard.parts.review_memory import Memory, held
from dashboard.theme import PALETTES

TODAY = date.today()
SOON = (TODAY + timedelta(days=7)).isoformat()
PAST = (TODAY - timedelta(days=1)).isoformat()


@pytest.fixture(scope="module")
def matters(table):
    return matters_on_record(table)


@pytest.fixture
def holding(app, table, matters, monkeypatch):
    """The dashboard, answering a request, with the small cellar's matters and an empty journal."""
    memory = Memory("tests", matters, meters(Snapshot.empty(), table))
    monkeypatch.setattr(review_memory, "_current", lambda _here: (table, memory))
    told: list[int] = []
    monkeypatch.setattr(review, "announce", told.append)
    with app.server.test_request_context("/"):
        yield told


def first() -> str:
    return held(Filters()).items[0].code


def keep(code: str, last_seen: int = 0, **typed):
    fields = {"outcome": "false alarm", "because": "a cold meter", "by": "Ann", **typed}
    values = [fields.get(name, "") for name in review_form.FIELDS]
    *errors, kept, said, opened, number = review.keep(1, code, last_seen, *values, [], {})
    return dict(zip(review_form.FIELDS, errors, strict=True)), str(kept or said), opened, number


def test_the_page_opens_on_the_worst_matter_without_an_answer(holding):
    seen = review.view(held(Filters()), "no such matter")
    assert seen.chosen is seen.finding.items[0]
    assert "matters are new" in seen.finding.answer or "matter is new" in seen.finding.answer


def test_everything_around_the_matter_is_shown(holding):
    answer, cautions, counted, nothing, hidden, listed, rest, actions, settled, closing, past, below = review.show(
        {}, 1, ""
    )
    assert "Worst" in answer or "It is" in answer
    assert cautions == []
    assert f"0 of {len(held(Filters()).items)} answered" in str(counted)
    assert nothing is None
    assert (hidden, rest) == (False, False)
    assert str(listed).count("review-choose") == len(held(Filters()).items)
    assert "No action stands" in str(actions)
    assert settled is None
    assert "without an answer" in closing
    assert "No review has been closed yet" in str(past)
    assert "/take-away/review.xlsx" in str(below)


def test_a_matter_tells_its_size_its_chart_and_what_was_done_differently(holding):
    name, head, hidden, figure, caption, runs, differences, related, answers = review.show_matter(
        {}, 1, first(), "light"
    )
    assert ":" in name
    assert "The level rose by" in str(head)
    assert not hidden
    assert any(shape["type"] == "rect" for shape in figure["layout"]["shapes"])
    assert "The whole chart" in str(caption)
    assert "as a table" in str(runs)
    assert "What was done differently" in str(differences)
    assert isinstance(related, list)
    table = next(part for part in differences if "Shares of the move" in str(part)).children
    rows = {str(row.children[0].children): row.children[1].children for row in table.children[2].children}
    assert [name for name, share in rows.items() if not share] == []
    assert any("Left unexplained" in name for name in rows)
    assert answers == []


def test_an_answer_is_kept_and_the_next_matter_opened(holding):
    code = first()
    errors, said, opened, _ = keep(code)
    assert set(errors.values()) == {""}
    assert "Kept for" in said
    assert opened != code
    assert holding == [context().ledger.state]
    assert held(Filters()).item(code).answer.because == "a cold meter"
    *_, answers = review.show_matter({}, 2, code, "dark")
    assert "a cold meter" in str(answers)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"outcome": ""}, "outcome"),
        ({"because": ""}, "because"),
        ({"because": "x" * 1_001}, "because"),
        ({"by": " "}, "by"),
        ({"outcome": "assigned cause", "action": "mend it", "action_by": "Bo", "until": PAST}, "until"),
    ],
)
def test_what_is_missing_is_said_at_its_field(holding, typed, field):
    errors, said, opened, _ = keep(first(), **typed)
    assert [name for name, words in errors.items() if words] == [field]
    assert "Not kept yet" in said
    assert holding == []
    assert context().ledger.journal() == ()
    assert not isinstance(opened, str)


def test_the_second_of_two_people_is_shown_what_the_first_answered(holding):
    code = first()
    keep(code)
    _, said, _, number = keep(code, by="Bo", because="something else")
    assert "Meanwhile this was answered" in said
    assert "a cold meter" in said
    _, said, _, _ = keep(code, last_seen=number, by="Bo", because="something else")
    assert "Kept for" in said
    assert held(Filters()).item(code).answer.by == "Bo"


def test_pressing_twice_keeps_one_answer(holding):
    code = first()
    keep(code)
    keep(code)
    assert len(context().ledger.journal("signal")) == 1


def test_the_form_holds_the_answer_that_stands(holding):
    code = first()
    keep(code, outcome="assigned cause", because="worn chuck", action="replace it", action_by="Bo", until=SOON)
    filled = review.fill(code, {})
    assert filled[:5] == ("assigned cause", "worn chuck", "replace it", "Bo", SOON)
    assert filled[-1] == held(Filters()).item(code).answer.number
    assert review.fill("", {})[0] is None


def test_the_reason_is_asked_for_in_the_words_of_what_was_found():
    assert review_form.shape("assigned cause") == ("What is the cause?", False)
    assert review_form.shape("no cause found") == ("What did you look at?", True)
    assert review_form.shape(None) == ("Why?", True)


def test_one_answer_may_be_given_to_matters_of_the_same_runs(holding):
    finding = held(Filters())
    item = next(one for one in finding.items if one.related)
    draft = AnswerDraft("false alarm", "a cold meter", by="Ann")
    came = review_form.keep(context().ledger, finding, item.code, 0, draft, [*item.related, "forged"], TODAY)
    assert "other matter" in str(came.said)
    now = held(Filters())
    assert all(now.item(code).answer is not None for code in (item.code, *item.related))


def test_a_press_on_a_matter_opens_it_and_a_selection_opens_one_of_its_own(holding, triggered):
    other = held(Filters()).items[-1].code
    triggered(f'{{"code":"{other}","type":"review-choose"}}.n_clicks')
    assert review.choose({}, 1, [1], first()) == other
    triggered("kept-filters.data")
    opened = review.choose({"recipes": ["I62"]}, 1, [], "no such matter")
    assert opened == getattr(next_open(held(Filters(recipes=("I62",)))), "code", "")
    with pytest.raises(PreventUpdate):
        review.choose({}, 1, [], first())


def test_a_review_is_closed_and_its_record_is_read(holding, app):
    keep(first())
    said, *errors, note = review.close(1, "Ann, Bo", "all is well", "Ann")
    assert (errors, note) == (["", "", ""], "")
    assert "/review/1" in str(said)
    past = review.show({}, 2, "")[10]
    assert "/review/1" in str(past)
    record = str(review_record.layout("1"))
    assert "Ann and Bo" in record
    assert "all is well" in record
    assert "False alarm, because a cold meter" in record
    assert "carried over" in record or "1 matter, all answered" in record
    assert "data:image/svg+xml" in record
    assert "No such review" in str(review_record.layout("2"))


def test_closing_says_what_is_missing_at_its_field(holding):
    said, present, by, note, _ = review.close(1, "", "x" * 4_001, " ")
    assert "Not closed yet" in str(said)
    assert "who was there" in present
    assert "your name" in by
    assert "4,000 letters" in note
    assert context().ledger.journal("review") == ()


def test_a_review_closed_by_two_people_is_closed_once(holding):
    finding = held(Filters())
    first_closed = review.review_closing.close(context().ledger, finding, "Ann", "", "Ann")
    second = review.review_closing.close(context().ledger, finding, "Bo", "", "Bo")
    assert first_closed[2]
    assert "Ann has closed it meanwhile" in str(second[0])
    assert len(context().ledger.journal("review")) == 1


def test_what_is_settled_leaves_the_page_and_can_be_opened_again(holding):
    for item in held(Filters()).items:
        keep(item.code)
    review.close(1, "Ann", "", "Ann")
    shown = review.show({}, 2, "")
    assert "Nothing to answer" in str(shown[3])
    assert shown[4]
    assert "answered in earlier reviews" in str(shown[8])


def test_the_picture_of_a_record_is_dark_on_white_and_part_of_the_page(matters, table):
    (item, *_) = reviewed(table, matters, (), today=TODAY).items
    kind, _, body = record_picture(item.seen).partition(",")
    picture = base64.b64decode(body).decode()
    assert kind == "data:image/svg+xml;base64"
    assert "fill='#ffffff'" in picture
    assert "nan" not in picture
    assert picture.count("<circle") + picture.count("<path d='M") >= len(item.seen.points)


def test_a_matters_figure_shows_its_runs_on_a_wash(matters):
    figure = matter_chart(matters[0], PALETTES["light"])
    (wash,) = [shape for shape in figure["layout"]["shapes"] if shape["type"] == "rect"]
    assert wash["x1"] > wash["x0"]


def test_matters_and_answers_can_be_taken_away(holding):
    keep(first())
    text = review.take_away(Filters(), {}, "csv").decode("utf-8-sig")
    assert "# What: Matters of the weekly review with their answers" in text
    assert "a cold meter" in text
    assert review.take_away(Filters(), {}, "xlsx")[:2] == b"PK"
    assert review.take_away(Filters(), {}, "parquet")[:4] == b"PAR1"


@pytest.mark.parametrize("forged", [None, 7, {"a": 1}, "m0000000000", ["x"]])
def test_forged_codes_do_not_break_the_page(holding, forged):
    assert len(review.show({}, 1, forged)) == 12
    assert len(review.show_matter({}, 1, forged, "purple")) == 9
    assert len(review.fill(forged, {})) == 17
    came = review.keep(1, forged, "x", *["a"] * 7, None, {})
    assert "no longer here" in str(came[8]) or "Not kept yet" in str(came[8])


def test_what_is_kept_in_memory_follows_the_records_and_the_decisions_about_charts(app, ledger):
    with app.server.test_request_context("/"):
        name = review_memory._current(context())[1].name
        ledger.decide("signal", {"what": "something"}, "because", "Ann")
        assert review_memory._current(context())[1].name == name
        day = date(2026, 1, 5)
        freeze(ledger, FrozenPhase("haze", "pack", "P40", "can", None, day, day, "a good month", "Ann"))
        assert review_memory._current(context())[1].name != name


def test_addresses_of_records_answer(app):
    client = app.server.test_client()
    assert client.get("/review").status_code == 200
    assert client.get("/review/1").status_code == 200
    assert client.get("/review/one").status_code == 404
