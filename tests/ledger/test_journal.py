"""Are decisions kept with who, when and why, taken back and never edited, whatever else is written meanwhile?"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import create_engine, func, inspect, select, text

from analysis.ledger import Cache, JournalEntry, Ledger, LedgerError, TakenBack, ledger_cache, snapshot
from analysis.ledger.migrations import MIGRATIONS
from analysis.ledger.states import name_of_state
from analysis.ledger.tables import CHANGES, JOURNAL, METADATA, STATES, TAKEN_BACK
from analysis.linking import kept, pack_table

AT = datetime(2026, 8, 3, 9, 15)
LATER = datetime(2026, 8, 5, 16, 0)
CONTENT = {"meter": "DO-2", "treatment": "set right", "runs": [1, 2.5, None], "much": {"by": "½ µg/L\x00"}}
DO = {"run": "1", "batch": "2417", "stage": "pack", "quantity": "dissolved_oxygen", "value": 35.0}


def test_a_decision_is_kept_with_who_when_and_why(ledger: Ledger):
    made = ledger.decide(" meter ", CONTENT, " reads high ", " Ines ", AT)
    assert made == JournalEntry(1, "meter", CONTENT, "reads high", "Ines", AT, 1)
    assert made.stands
    assert ledger.journal() == (made,)
    assert ledger.state == 1
    with pytest.raises(TypeError):
        made.content["meter"] = "DO-1"


def test_a_decision_taken_back_stays_in_the_journal(ledger: Ledger):
    first = ledger.decide("meter", {"meter": "DO-1"}, "reads low", "Ines", AT)
    second = ledger.decide("meter", {"meter": "DO-2"}, "reads high", "Ines", AT)
    back = ledger.take_back(first.number, " it was the standard ", " Tam ", LATER)
    assert back.taken_back == TakenBack(3, "Tam", LATER, "it was the standard")
    assert not back.stands
    assert (back.content, back.because, back.by, back.state) == ({"meter": "DO-1"}, "reads low", "Ines", 1)
    assert ledger.journal() == (second,)
    assert ledger.journal(standing=False) == (back, second)
    again = ledger.decide("meter", {"meter": "DO-1"}, "it was not", "Ines", LATER)
    assert (again.number, again.state) == (3, 4)


def test_subjects_are_kept_apart(ledger: Ledger):
    meter = ledger.decide("meter", {"a": 1}, "so", "Ines")
    signal = ledger.decide("signal", {"a": 1}, "so", "Ines")
    assert ledger.journal("meter") == (meter,)
    assert ledger.journal("signal") == (signal,)
    assert ledger.journal("baseline") == ()
    assert ledger.journal() == (meter, signal)


def test_states_say_what_happened(ledger: Ledger):
    ledger.decide("meter", {}, "reads high", "Ines", AT)
    ledger.take_back(1, "it was the standard", "Tam", LATER)
    with ledger.database.reading() as connection:
        query = select(STATES.c.action, STATES.c.by, STATES.c.because, STATES.c.at).order_by(STATES.c.state)
        assert [tuple(row) for row in connection.execute(query)] == [
            ("decide", "Ines", "reads high", AT.isoformat()),
            ("take back", "Tam", "it was the standard", LATER.isoformat()),
        ]
        assert connection.execute(select(func.count()).select_from(CHANGES)).scalar_one() == 0


@pytest.mark.parametrize(
    ("named", "told"),
    [
        ({"subject": " "}, "subject must say what the decision is about"),
        ({"because": ""}, "because must say why"),
        ({"by": " "}, "by must say who"),
        ({"content": ["a"]}, "content must be a mapping"),
        ({"content": {1: "a"}}, "content must be a mapping from names"),
        ({"content": {"a": float("nan")}}, "content must be what JSON can say"),
        ({"content": {"a": AT}}, "content must be what JSON can say"),
    ],
)
def test_a_decision_that_says_too_little_is_refused(ledger: Ledger, named: dict[str, object], told: str):
    usual: dict[str, object] = {"subject": "meter", "content": {}, "because": "so", "by": "Ines"}
    with pytest.raises(ValueError, match=told):
        ledger.decide(**{**usual, **named})
    assert (ledger.state, ledger.journal()) == (0, ())


def test_what_does_not_stand_cannot_be_taken_back(ledger: Ledger):
    with pytest.raises(ValueError, match="must be that of a decision that stands, got 1"):
        ledger.take_back(1, "so", "Ines")
    ledger.decide("meter", {}, "so", "Ines")
    ledger.decide("meter", {}, "so", "Ines")
    with pytest.raises(ValueError, match=r"one of the decisions that stand \(1, 2\), got 7"):
        ledger.take_back(7, "so", "Ines")
    with pytest.raises(ValueError, match="because must say why"):
        ledger.take_back(1, " ", "Ines")
    ledger.take_back(1, "so", "Ines", AT)
    with pytest.raises(ValueError, match="got 1, which Ines took back on 3 August 2026"):
        ledger.take_back(1, "so", "Ines")
    assert ledger.state == 3


def test_records_and_decisions_count_one_row_of_states(ledger: Ledger, offer):
    ledger.commit(offer("a.xlsx", readings=[DO]), "Ines")
    ledger.decide("meter", {}, "so", "Ines")
    ledger.commit(offer("b.xlsx", readings=[{**DO, "run": "2"}]), "Ines")
    ledger.withdraw(1, "so", "Ines")
    assert (ledger.state, [entry.state for entry in ledger.journal()]) == (4, [2])
    assert snapshot(ledger, 2).frame("readings")["run"].tolist() == ["1"]
    assert snapshot(ledger).frame("readings")["run"].tolist() == ["2"]


def test_no_frame_is_read_and_nothing_is_linked_again_after_a_decision(ledger: Ledger, offer, monkeypatch):
    ledger.commit(offer("a.xlsx", readings=[DO]), "Ines")
    before, frame = pack_table(ledger), snapshot(ledger).frame("readings")
    ledger.decide("meter", {}, "so", "Ines")

    def refuse(*_told: object, **_named: object) -> None:
        raise AssertionError("made again")

    monkeypatch.setattr(sys.modules[kept.link.__module__], "link", refuse)
    monkeypatch.setattr(kept, "link", refuse)
    monkeypatch.setattr(sys.modules["analysis.ledger.snapshot"], "read_rows", refuse)
    after = pack_table(ledger)
    assert (before.state, after.state) == (1, 2)
    assert after.readings.equals(before.readings)
    assert snapshot(ledger).frame("readings").equals(frame)
    ledger.take_back(1, "so", "Ines")
    assert (pack_table(ledger).state, pack_table(ledger, 1).state) == (3, 1)


def test_states_share_a_name_of_records_until_a_record_changes(ledger: Ledger, offer):
    ledger.commit(offer("a.xlsx", readings=[DO]), "Ines")
    ledger.decide("meter", {}, "so", "Ines")
    ledger.commit(offer("b.xlsx", targets=[{"recipe": "P40", "quantity": "haze", "upper": 1.0}]), "Ines")
    named = [name_of_state(ledger.database, state) for state in range(4)]
    assert named[1].records == named[2].records
    assert len({name.records for name in named}) == 3
    assert len({name.name for name in named}) == 4
    assert isinstance(ledger_cache(named[2]), Cache)


@pytest.fixture
def schema_two(ledger_url: str) -> Iterator[str]:
    """The address of a ledger as the schema before the journal left it, with one intake on record."""
    engine = create_engine(ledger_url)
    with engine.begin() as connection:
        METADATA.create_all(connection, tables=[t for t in METADATA.sorted_tables if t not in (JOURNAL, TAKEN_BACK)])
        for number in (1, 2):
            connection.execute(text(f"INSERT INTO schema VALUES ({number}, 'older', '2026-01-01T08:00:00')"))
        connection.execute(text("INSERT INTO ledger VALUES (1, 'older', 0, 0)"))
    engine.dispose()
    yield ledger_url


def test_a_ledger_without_a_journal_gets_one(schema_two: str, offer):
    with Ledger.open(schema_two) as ledger:
        ledger.commit(offer("a.xlsx", readings=[DO]), "Ines")
        assert ledger.journal() == ()
        ledger.decide("meter", CONTENT, "so", "Ines")
    with Ledger.open(schema_two) as ledger, ledger.database.reading() as connection:
        assert ledger.journal()[0].content == CONTENT
        assert {"journal", "taken_back"} <= set(inspect(connection).get_table_names())
        assert connection.execute(text("SELECT MAX(number) FROM schema")).scalar_one() == MIGRATIONS[-1].number


def test_threads_decide_and_take_back_without_losing_any(ledger: Ledger):
    def turn(number: int) -> int:
        made = ledger.decide("meter", {"n": number}, "so", "Ines")
        if number % 3 == 0:
            ledger.take_back(made.number, "so", "Tam")
        return made.number

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(turn, range(24)))
    assert sorted(numbers) == list(range(1, 25))
    assert {entry.content["n"] for entry in ledger.journal(standing=False)} == set(range(24))
    assert {entry.content["n"] for entry in ledger.journal()} == {n for n in range(24) if n % 3}
    assert ledger.state == 24 + 8


def test_one_of_two_who_take_the_same_back_is_refused(ledger: Ledger):
    ledger.decide("meter", {}, "so", "Ines")

    def turn(_number: int) -> bool:
        try:
            ledger.take_back(1, "so", "Tam")
        except ValueError:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(turn, range(4))) == [False, False, False, True]
    assert ledger.state == 2


_WRITER = """
import sys
from analysis.ledger import Ledger

ledger = Ledger.open(sys.argv[1])
print("ready", flush=True)
while True:
    made = ledger.decide("meter", {"after": ledger.state}, "so", "writer")
    print(f"made {made.number}", flush=True)
    if made.number % 3 == 0:
        ledger.take_back(made.number, "so", "writer")
        print(f"back {made.number}", flush=True)
"""


def _killed_after(url: str, lines: int) -> list[tuple[str, int]]:
    """Start a writer, kill it when it has told so many lines, and return what it told whole."""
    with subprocess.Popen([sys.executable, "-c", _WRITER, url], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        told = [writer.stdout.readline() for _ in range(lines)]
        writer.kill()
        told += writer.stdout.read().splitlines(keepends=True)
    whole = [line.split() for line in told if line.endswith("\n")]
    return [(what, int(number)) for what, number in whole]


@pytest.mark.timeout(120)
def test_a_writer_that_is_killed_loses_nothing_that_it_told(ledger_url: str):
    told: list[tuple[str, int]] = []
    for lines in (1, 4, 7):
        told += _killed_after(ledger_url, lines)
        with Ledger.open(ledger_url) as ledger:
            entries = ledger.journal(standing=False)
            back = [entry for entry in entries if entry.taken_back]
            assert [entry.number for entry in entries] == list(range(1, len(entries) + 1))
            assert ledger.state == len(entries) + len(back)
            assert {number for what, number in told if what == "made"} <= {entry.number for entry in entries}
            assert {number for what, number in told if what == "back"} <= {entry.number for entry in back}
    assert len(told) >= 12


def test_a_journal_that_cannot_be_written_is_told(tmp_path: Path):
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as ledger:
        with ledger.database.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA query_only = ON")
        with pytest.raises(LedgerError, match="cannot be written to"):
            ledger.decide("meter", {}, "so", "Ines")
        assert ledger.journal() == ()
