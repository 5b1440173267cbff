"""Are records that contradict each other counted, listed and settled at the terminal?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from analysis.ledger import Ledger
from dashboard.commands import main

HEADER = "Run,Batch,Stage,Sample,Measured at,Quantity,Value,Unit\n"
ROWS = "R1,2417,pack,1,2026-05-20 10:00,TPO,{},ppb\nR1,2417,pack,2,2026-05-20 10:00,haze,{},EBC\n"


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'own.sqlite'}"


def ask(url: str, *words: object) -> Result:
    return CliRunner().invoke(main, [*map(str, words), "--ledger", url])


def written(folder: Path, name: str, tpo: object, haze: object) -> Path:
    path = folder / name
    path.write_text(HEADER + ROWS.format(tpo, haze))
    return path


@pytest.fixture
def contradicted(url: str, tmp_path: Path) -> str:
    """The lab's file says other values than the line's for two packs."""
    assert ask(url, "intake", written(tmp_path, "line.csv", 62, 0.8), "--by", "A. Weir").exit_code == 0
    assert ask(url, "intake", written(tmp_path, "lab.csv", 82, "<0.5"), "--by", "B. Lock").exit_code == 1
    return url


def oxygen(url: str) -> dict[str, Any]:
    """The open conflict about total oxygen, as the document of the command has it."""
    conflicts = json.loads(ask(url, "conflicts", "--json").stdout)["conflicts"]
    return next(one for one in conflicts if one["about"]["quantity"] == "total_oxygen")


def test_an_intake_that_contradicts_says_how_many_rows_and_what_to_do(url: str, tmp_path: Path) -> None:
    ask(url, "intake", written(tmp_path, "line.csv", 62, 0.8))
    result = ask(url, "intake", written(tmp_path, "lab.csv", 82, 0.8))
    assert result.exit_code == 1
    told = " ".join(result.stderr.split())
    assert "1 row contradicts another about the same thing: neither side is used" in told
    assert "dropbright conflicts --settle NUMBER --keep RECORD --because TEXT" in told
    again = ask(url, "intake", written(tmp_path, "third.csv", 90, 0.8), "--json")
    assert (again.exit_code, json.loads(again.stdout)["conflicting"]) == (1, 1)


def test_what_was_settled_is_told_no_more_when_the_file_comes_again(url: str, tmp_path: Path) -> None:
    path = tmp_path / "line.csv"
    path.write_text(HEADER + ROWS.format(62, 0.8) + ROWS.format(70, 0.8).splitlines()[0] + "\n")
    assert ask(url, "intake", path, "--dry-run").exit_code == 1
    assert ask(url, "intake", path).exit_code == 1
    with Ledger.open(url) as ledger:
        (conflict,) = ledger.conflicts()
    assert ask(url, "conflicts", "--settle", conflict.number, "--keep", conflict.claims[0].record,
               "--because", "the slip").exit_code == 0  # fmt: skip
    again = ask(url, "intake", path)
    assert (again.exit_code, "contradict" in again.stderr) == (0, False), again.stderr


def test_conflicts_are_listed_with_what_each_side_says(contradicted: str) -> None:
    result = ask(contradicted, "conflicts")
    assert result.exit_code == 1
    for words in ("total package oxygen", "value 62 µg/L", "value 82 µg/L", "value <0.5 EBC", "lab.csv › lab, row 2"):
        assert words in result.stdout
    assert "2 things are on record with more than one value" in result.stderr
    first = oxygen(contradicted)
    assert [row["says"] for row in first["rows"]] == [{"value": 62.0}, {"value": 82.0}]
    assert {"record", "file", "sheet", "row", "intake", "by", "at"} <= set(first["rows"][0])


def test_one_conflict_is_settled_and_the_history_says_by_whom_and_why(contradicted: str) -> None:
    first = oxygen(contradicted)
    keep = first["rows"][1]["record"]
    words = ("conflicts", "--settle", first["conflict"], "--keep", keep, "--because", "meter checked", "--by", "QA")
    result = ask(contradicted, *words)
    assert result.exit_code == 1, "one conflict is left"
    assert f"Conflict {first['conflict']} is settled: record {keep} of lab.csv is kept." in result.stderr
    assert "1 thing is on record" in result.stderr
    (settled,) = json.loads(ask(contradicted, "history", "--json").stdout)["settled"]
    assert (settled["by"], settled["because"], settled["kept"]) == ("QA", "meter checked", keep)
    assert "value 82 µg/L (lab.csv, lab, row 2)" in settled["in_words"]
    assert "meter checked" in ask(contradicted, "history").stdout


def test_everything_that_one_file_says_is_kept(contradicted: str) -> None:
    result = ask(contradicted, "conflicts", "--keep-file", "lab.csv", "--because", "calibrated", "--json")
    document = json.loads(result.stdout)
    assert (result.exit_code, len(document["settled"]), document["conflicts"]) == (0, 2, [])
    done = ask(contradicted, "conflicts")
    assert (done.exit_code, "No records contradict each other." in done.stderr) == (0, True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--settle", 1, "--keep", 1), "Say how you know"),
        (("--settle", 1, "--because", "x"), "Give --settle NUMBER and --keep RECORD together"),
        (("--keep", 1, "--because", "x"), "Give --settle NUMBER and --keep RECORD together"),
        (("--settle", 99, "--keep", 1, "--because", "x"), "There is no open conflict 99. Open: 1 and 2."),
        (("--settle", 1, "--keep", 99, "--because", "x"), "Record 99 does not stand in conflict 1."),
        (("--keep-file", "none.csv", "--because", "x"), "Files in conflict: lab.csv and line.csv."),
        (("--keep-file", "lab.csv", "--settle", 1, "--because", "x"), "Give --keep-file alone"),
    ],
)
def test_what_cannot_be_settled_is_refused_and_nothing_changes(
    contradicted: str, words: tuple[object, ...], told: str
) -> None:
    result = ask(contradicted, "conflicts", *words)
    assert (result.exit_code, told in " ".join(result.stderr.split())) == (2, True), result.stderr
    with Ledger.open(contradicted) as ledger:
        assert (len(ledger.conflicts()), ledger.resolutions()) == (2, ())
