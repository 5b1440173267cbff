"""Does the command line do the main job on the invented workbooks, with the agreed documents and exit codes?"""

import json

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner

from analysis.ledger import Ledger
from dashboard.commands import main
from data_demo import truth


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def demo(folder):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))
        yield CliRunner().invoke(main, ["demo", "--folder", str(folder), "--no-serve"])


@pytest.fixture
def ask(demo, folder, monkeypatch):
    assert demo.exit_code == 0, demo.output
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))
    url = f"sqlite:///{folder / 'demo-ledger.sqlite'}"

    def run(*words, ledger=url):
        return CliRunner().invoke(main, [*map(str, words), "--ledger", ledger])

    return run


def document(result):
    return json.loads(result.stdout)


def test_the_demo_ends_with_counts_and_two_verdict_tables(demo):
    assert demo.exit_code == 0
    assert "Cellar log 2025.xlsx" in demo.stdout
    assert "Which practices shift total package oxygen" in demo.stdout
    assert "Which practices shift haze" in demo.stdout
    assert "is invented" in demo.stderr
    assert "Intake 1:" in demo.stderr


def test_the_demo_can_be_run_again_and_adds_nothing(demo, folder):
    again = CliRunner().invoke(main, ["demo", "--folder", str(folder), "--no-serve"])
    assert again.exit_code == 0
    assert "Nothing new" in again.stderr


def test_history_names_the_intake(ask):
    entries = document(ask("history", "--json"))["intakes"]
    assert [entry["intake"] for entry in entries] == [1]
    assert entries[0]["by"] == "Marram Lock Brewery (invented)"
    assert entries[0]["standing"] == "on record"
    assert "on record" in ask("history").stdout


def test_history_names_what_was_decided_and_what_was_taken_back(tmp_path):
    url = f"sqlite:///{tmp_path / 'own.sqlite'}"
    with Ledger.open(url) as ledger:
        ledger.decide("setting", {"setting": "beer_factor", "value": 0.9}, "measured here", "Ann")
        ledger.take_back(1, "measured again", "Bo")
    ran = CliRunner().invoke(main, ["history", "--json", "--ledger", url])
    (decision,) = document(ran)["decisions"]
    assert (decision["about"], decision["because"], decision["by"]) == ("a setting", "measured here", "Ann")
    assert decision["standing"].endswith("by Bo: measured again")
    assert document(ran)["ledger_state"] == 2
    assert "measured here" in CliRunner().invoke(main, ["history", "--ledger", url]).stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("practices", "haze", "--recipe", "P4O"), "No recipe P4O is on record. On record: I62, "),
        (("chart", "haze", "--tank", "FV77"), "No tank FV77 is on record. On record: "),
        (("practices", "hase"), "No measure hase is on record. On record: "),
        (("packs", "--recipe", "p40"), ""),
    ],
)
def test_a_name_that_is_not_on_record_is_said_with_those_that_are(ask, words, said):
    told = ask(*words).stderr
    assert said in told
    assert ("is on record" in told) == bool(said)


def test_packs_in_json_and_as_files(ask, tmp_path):
    packs = document(ask("packs", "--recipe", "P40", "--json"))
    assert {row["recipe"] for row in packs["rows"]} == {"P40"}
    assert {"run", "batch", "recipe", "format", "packed_at", "sample", "haze", "rouse_minutes"} <= set(packs["rows"][0])
    for name in ("packs.csv", "packs.xlsx", "packs.parquet"):
        assert ask("packs", "--out", tmp_path / name).exit_code == 0
    assert len(pd.read_parquet(tmp_path / "packs.parquet")) > len(packs["rows"])
    assert openpyxl.load_workbook(tmp_path / "packs.xlsx").sheetnames == ["Numbers", "About"]


def test_chart_in_json(ask):
    chart = document(ask("chart", "total_oxygen", "--json"))
    assert chart["measure"] == "total_oxygen"
    assert chart["unit"] == "µg/L"
    series = next(s for s in chart["series"] if s["recipe"] == "P40" and s["format"] == "can")
    assert series["lower"] < series["centre"] < series["upper"]
    assert {"run", "batch", "at", "value", "signals"} <= set(series["points"][0])


def test_practices_in_json(ask):
    told = document(ask("practices", "haze", "--json"))
    verdicts = {each["practice"]: each["verdict"] for each in told["practices"]}
    assert verdicts["rouse_minutes"] == "lowers"
    assert told["margin"]["unit"] == "EBC"
    assert truth.TRAP.practice in verdicts


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("packs", "--recipe", "X99"), 1),
        (("practices", "haze", "--recipe", "X99"), 1),
        (("chart", "carbon_dioxide"), 1),
        (("packs", "--format", "crate"), 2),
        (("packs", "--since", "yesterday"), 2),
        (("packs", "--since", "2026-02-01", "--until", "2026-01-01"), 2),
        (("withdraw", "99", "--because", "typed twice"), 2),
        (("packs", "--out", "packs.doc"), 2),
        (("intake", "there-is-no-such-file.xlsx"), 2),
    ],
)
def test_exit_codes_and_a_sentence_without_a_traceback(ask, words, code):
    result = ask(*words)
    assert result.exit_code == code, result.output
    assert result.stderr.strip()
    assert "Traceback" not in result.output


def test_the_ledger_may_be_named_before_the_command_or_after_it(tmp_path, monkeypatch):
    monkeypatch.setenv("DROPBRIGHT_LEDGER", f"sqlite:///{tmp_path / 'environment.sqlite'}")
    before, after = (f"sqlite:///{tmp_path / name}.sqlite" for name in ("before", "after"))
    for words in (["--ledger", before, "history"], ["--ledger", "nonsense://", "history", "--ledger", after]):
        assert CliRunner().invoke(main, words).exit_code == 0
    assert {path.name for path in tmp_path.glob("*.sqlite")} == {"before.sqlite", "after.sqlite"}


def test_a_ledger_that_cannot_be_opened_is_told(ask, tmp_path):
    result = ask("history", ledger=f"sqlite:///{tmp_path / 'no' / 'such' / 'folder' / 'x.sqlite'}")
    refused = ask("history", ledger="nonsense://")
    assert refused.exit_code == 2
    assert "Traceback" not in result.output + refused.output


def test_intake_checks_without_storing_and_writes_rejects(folder, demo, tmp_path):
    ledger = f"sqlite:///{tmp_path / 'own.sqlite'}"
    rejects = tmp_path / "mend.xlsx"
    book = next(folder.glob("brew book*.xlsx"))
    words = ["intake", str(book), "--dry-run", "--json", "--rejects", str(rejects), "--ledger", ledger]
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 1
    told = document(result)
    assert told["intake"] is None
    sheets = told["files"][0]["sheets"]
    assert all(s["rows"] == s["accepted"] + s["rejected"] + s["ignored"] for s in sheets)
    assert {"file", "sheet", "row", "column", "value", "code", "message", "remedy"} <= set(told["problems"][0])
    assert openpyxl.load_workbook(rejects).sheetnames
    assert document(CliRunner().invoke(main, ["history", "--json", "--ledger", ledger]))["intakes"] == []


def test_an_intake_can_be_withdrawn(folder, demo, tmp_path):
    ledger = f"sqlite:///{tmp_path / 'own.sqlite'}"
    book = next(folder.glob("brew book*.xlsx"))
    taken = document(CliRunner().invoke(main, ["intake", str(book), "--by", "QA", "--json", "--ledger", ledger]))
    assert taken["intake"] == 1
    words = ["withdraw", "1", "--because", "wrong year", "--by", "QA", "--json", "--ledger", ledger]
    back = document(CliRunner().invoke(main, words))
    assert back["removed"]["batches"] > 200
    entry = document(CliRunner().invoke(main, ["history", "--json", "--ledger", ledger]))["intakes"][0]
    assert "withdrawn" in entry["standing"]
    assert "wrong year" in entry["standing"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("intake", "not there.csv"), "not there.csv: there is no such file."),
        (("intake", "."), ".: is a folder. Name the files in it."),
        (("intake", __file__, "--rejects", "mend.csv"), "mend.csv: the name must end in .xlsx."),
        (("intake", __file__, "--rejects", f"{__file__}/mend.xlsx"), "cannot be written. Nothing was stored."),
        (("intake", __file__, "--by", " "), "must not be blank"),
        (("withdraw", "1", "--because", " "), "must not be blank"),
        (("blank", f"{__file__}/blank"), "cannot be written"),
        (("serve", "--host", "192.0.2.1"), "The dashboard cannot answer on 192.0.2.1:8050"),
    ],
)
def test_misuse_is_told_and_stores_nothing(tmp_path, words, told):
    url = f"sqlite:///{tmp_path / 'own.sqlite'}"
    result = CliRunner().invoke(main, ["--ledger", url, *words])
    assert (result.exit_code, told in result.stderr.replace("\n", " ")) == (2, True), result.stderr
    assert json.loads(CliRunner().invoke(main, ["history", "--json", "--ledger", url]).stdout)["intakes"] == []


def test_an_intake_of_which_nothing_can_be_read_says_so(tmp_path):
    (tmp_path / "empty.csv").touch()
    url = f"sqlite:///{tmp_path / 'own.sqlite'}"
    result = CliRunner().invoke(main, ["intake", str(tmp_path / "empty.csv"), "--ledger", url])
    assert (result.exit_code, result.stdout) == (1, "")
    assert "Nothing was stored: no row could be taken in." in result.stderr


def test_blank_workbooks_are_taken_without_a_problem(tmp_path):
    ledger = f"sqlite:///{tmp_path / 'own.sqlite'}"
    written = CliRunner().invoke(main, ["blank", str(tmp_path / "blank")])
    files = written.stdout.split("\n")
    assert written.exit_code == 0
    result = CliRunner().invoke(main, ["intake", *[f for f in files if f], "--json", "--ledger", ledger])
    assert result.exit_code == 0, result.output
    assert document(result)["problems"] == []
