"""Is a chart's baseline frozen, listed and taken back at the terminal, and is every misuse told with its remedy?"""

from __future__ import annotations

import json
from datetime import date

import pandas as pd
import pytest
from click.testing import CliRunner

from analysis.findings.baselines import frozen_phases
from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.commands import main

RUNS = 16


@pytest.fixture
def url(tmp_path, monkeypatch):
    """An invented brewery of two beers on one line, with leakers counted beside its runs."""
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    days = pd.date_range("2026-01-05", periods=RUNS, freq="7D")
    rows = [
        {
            "Run": f"{recipe}{i}", "Batch": f"{2000 + 2 * i + (recipe == 'A20')}", "Recipe": recipe,
            "Packaged": day.date().isoformat(), "Format": "can", "Line": "1", "Leakers": (i * 7) % 5 + 1,
            "TPO ppb": 60 + 15 * ((i * 5) % 4) + 20 * (recipe == "A20"),
        }
        for i, day in enumerate(days)
        for recipe in ("A10", "A20")
    ]  # fmt: skip
    sheet = tmp_path / "packaging.csv"
    pd.DataFrame(rows).to_csv(sheet, index=False)
    address = f"sqlite:///{tmp_path / 'ledger.sqlite'}"
    with Ledger.open(address) as ledger:
        taken = take_in([SourceFile(sheet, sheet.name)])
        assert not [problem for problem in taken.problems if problem.severity.name == "ERROR"]
        ledger.commit(taken, by="AQ")
    return address


@pytest.fixture
def ask(url):
    return lambda *words: CliRunner().invoke(main, ["chart", *words, "--ledger", url])


def standing(url):
    with Ledger.open(url) as ledger:
        return frozen_phases(ledger)


OF_A10 = ("total_oxygen", "--recipe", "A10", "--format", "can")
FREEZE = ("--freeze", "2026-01-05..2026-03-31", "--because", "a steady winter", "--by", "BV")


def test_a_recipes_baseline_is_frozen_told_and_taken_back(ask, url):
    told = ask(*OF_A10, *FREEZE, "--leave-out", "A103", "meter was off")
    assert told.exit_code == 0, told.output
    assert "Baseline 1 of A10, can is frozen; dropbright chart total_oxygen --take-back 1" in told.stderr
    assert "frozen by BV" in told.stdout
    (phase,) = standing(url)
    assert (phase.recipe, phase.format, phase.line, phase.begins) == ("A10", "can", None, None)
    assert (phase.since, phase.until, phase.by, phase.because) == (
        date(2026, 1, 5), date(2026, 3, 31), "BV", "a steady winter",
    )  # fmt: skip
    assert phase.left_out[0].because == "meter was off"
    listed = ask("total_oxygen", "--phases")
    assert listed.exit_code == 0
    assert "a steady winter" in listed.stdout and "nobody" in listed.stdout
    back = ask("total_oxygen", "--take-back", "1", "--because", "the meter, after all")
    assert back.exit_code == 0
    assert "Baseline 1 is taken back" in back.stderr
    assert standing(url) == ()


def test_a_new_phase_begins_with_its_runs(ask, url):
    words = ("--freeze", "2026-03-02..2026-04-20", "--because", "new filler valve", "--new-phase")
    told = json.loads(ask(*OF_A10, *words, "--json").stdout)
    assert [phase["because"] for phase in told["series"][0]["phases"]] == [None, "new filler valve"]
    assert standing(url)[0].begins == date(2026, 3, 2)


def test_a_lines_baseline_is_frozen_across_recipes(ask, url):
    assert ask("total_oxygen", "--line", "1", *FREEZE).exit_code == 0
    (phase,) = standing(url)
    assert (phase.recipe, phase.format, phase.line) == (None, None, "1")
    told = json.loads(ask("total_oxygen", "--json").stdout)
    (line,) = told["across_recipes"]
    assert line["baseline"]["frozen"] and line["baseline"]["because"] == "a steady winter"
    assert line["baseline"]["n"] == 26
    assert all(series["baseline"]["because"] is None for series in told["series"])


def test_what_is_counted_takes_a_baseline_too(ask, url):
    assert ask("counted:leakers", *FREEZE).exit_code == 0
    (phase,) = standing(url)
    assert (phase.measure, phase.line) == ("counted:leakers", "1")
    listed = ask("counted:leakers", "--phases")
    assert listed.exit_code == 0 and "a steady winter" in listed.stdout
    assert "26 runs" in listed.stdout
    wrong = ask("total_oxygen", "--take-back", "1", "--because", "x")
    assert wrong.exit_code == 2
    assert "dropbright chart counted:leakers --take-back 1" in wrong.stderr
    assert ask("counted:leakers", "--take-back", "1", "--because", "x").exit_code == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((*OF_A10, "--freeze", "2026-01-05..2026-03-31"), "Say why with --because"),
        ((*OF_A10, "--freeze", "2026-01-05", "--because", "x"), "--freeze wants two days"),
        ((*OF_A10, "--freeze", "winter..spring", "--because", "x"), "got “winter..spring”"),
        ((*OF_A10, "--freeze", "2026-03-31..2026-01-05", "--because", "x"), "first day is after the last"),
        ((*OF_A10, "--freeze", "2020-01-01..2020-02-01", "--because", "x"), "0 runs would be left"),
        ((*OF_A10, *FREEZE, "--leave-out", "A2099", "off"), "Not among the runs of A10, can"),
        ((*OF_A10, *FREEZE, "--leave-out", "A103", " "), "Say for each run that is left out"),
        ((*OF_A10, *FREEZE, "--by", " "), "must not be blank"),
        ((*OF_A10, *FREEZE, "--take-back", "1"), "Give one of --freeze and --take-back"),
        (("total_oxygen", *FREEZE), "say which with --recipe and --format, or --line. The charts: A10, can; A20, can"),
        (("total_oxygen", "--line", "7", *FREEZE), "there is no such chart"),
        ((*OF_A10, "--line", "1", *FREEZE), "leave --recipe and --format out"),
        ((*OF_A10, "--tank", "FV1", *FREEZE), "leave --tank out"),
        (("total_oxygen", "--line", "1"), "go with --freeze"),
        (("total_oxygen", "--new-phase"), "go with --freeze"),
        (("total_oxygen", "--take-back", "3", "--because", "x"), "No baseline 3 stands. Standing: none."),
        (("counted:returns", *FREEZE), "name must be one of what is counted"),
    ],
)
def test_misuse_is_told_and_nothing_is_written(ask, url, words, said):
    told = ask(*words)
    assert told.exit_code == 2
    assert said in told.output
    assert "Traceback" not in told.output
    assert standing(url) == ()


def test_a_baseline_whose_chart_is_not_shown_is_listed_all_the_same(ask, url):
    assert ask("total_oxygen", "--line", "1", *FREEZE).exit_code == 0
    assert "line 1" in ask(*OF_A10, "--phases").stdout


def test_a_baseline_from_before_limits_counted_batches_says_what_its_limits_were(tmp_path, monkeypatch):
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    days = pd.date_range("2026-01-05", periods=24, freq="4D")
    rows = [
        {"Run": f"R{2 * i + j}", "Batch": f"{2000 + i}", "Recipe": "A10", "Format": "can",
         "Packaged": (day + pd.Timedelta(days=j)).date().isoformat(), "TPO ppb": 60 + 10 * ((i * 5) % 4) + j}
        for i, day in enumerate(days)
        for j in range(2)
    ]  # fmt: skip
    sheet = tmp_path / "packaging.csv"
    pd.DataFrame(rows).to_csv(sheet, index=False)
    address = f"sqlite:///{tmp_path / 'ledger.sqlite'}"
    content = {
        "measure": "total_oxygen", "stage": "pack", "recipe": "A10", "format": "can", "begins": None,
        "from": "2026-01-01", "to": "2026-12-31", "left_out": [],
    }  # fmt: skip
    with Ledger.open(address) as ledger:
        ledger.commit(take_in([SourceFile(sheet, sheet.name)]), by="AQ")
        ledger.decide("baseline", content, "the old way", "AQ")
    told = CliRunner().invoke(main, ["chart", "total_oxygen", "--phases", "--ledger", address])
    assert told.exit_code == 0
    assert "48 runs of 24 batches" in told.stdout
    assert "Baseline 1 of A10, can: When it was frozen, limits were made run by run" in told.stderr
