"""Do the figures of gas and oxygen answer at the terminal, as a table and as JSON, and refuse what they cannot read?"""

import json

import pytest
from click.testing import CliRunner

from analysis.findings.gas_figures import FIGURES
from dashboard.commands import main


@pytest.fixture
def run(tmp_path):
    def call(*words):
        return CliRunner().invoke(main, ["oxygen", *words, "--ledger", f"sqlite:///{tmp_path / 'new.sqlite'}"])

    return call


@pytest.mark.parametrize("figure", [figure.name for figure in FIGURES])
def test_each_figure_prints_one_document(run, figure):
    done = run(figure, "--json")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert document["figure"] == figure
    assert document["low"] <= document["value"] <= document["high"]
    assert document["beer_factor"]["is_default"]


def test_purging_is_answered_in_a_sentence(run):
    done = run("purge", "--cycles", "5", "--gauge", "101.325kPa", "--outside", "1 atm")
    assert done.exit_code == 0
    assert "0.655 %" in done.stderr
    assert "clears nothing" in done.stderr
    assert "Pressure before venting" in done.stdout


def test_a_figure_that_cannot_be_read_is_misuse(run):
    done = run("purge", "--gauge", "1")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "--gauge: Write the unit of the pressure" in done.stderr
    assert json.loads(run("purge", "--gauge", "1", "--json").stdout)["faults"][0]["field"] == "gauge"


def test_too_late_to_say_is_no_answer(run):
    done = run("closing", "--days", "60 d", "--json")
    assert done.exit_code == 1
    assert "too late" in json.loads(done.stdout)["answer"]


def test_air_may_stand_in_the_hoses_place(run):
    assert json.loads(run("trapped", "--air", "1 mL", "--beer", "1.7 US bbl", "--json").stdout)["value"] < 2


def test_the_group_lists_its_figures():
    done = CliRunner().invoke(main, ["oxygen", "--help"])
    assert all(figure.name in done.output for figure in FIGURES)


def test_the_factor_is_set_and_given_up(run):
    assert "the default" in run("factor").stdout
    done = run("factor", "0.95", "--because", "two meters against a titration", "--by", "A. Maltby")
    assert done.exit_code == 0
    assert "0.950 times as much oxygen as water: a setting by A. Maltby" in done.stdout
    document = json.loads(run("shaken", "--json").stdout)
    assert document["beer_factor"]["value"] == 0.95
    assert any("A. Maltby" in caution for caution in document["cautions"])
    assert json.loads(run("factor", "--give-up", "--because", "a slip", "--json").stdout)["beer_factor"]["is_default"]


@pytest.mark.parametrize("words", [("9", "--because", "x"), ("0.95",), ("--give-up", "--because", "x"),
                                   ("0.9", "--give-up", "--because", "x")])  # fmt: skip
def test_a_factor_beyond_sense_or_without_a_reason_is_misuse(run, words):
    done = run("factor", *words)
    assert done.exit_code == 2
    assert "the default" in run("factor").stdout


def test_limits_are_listed_set_and_given_up(run):
    assert run("limit").stdout.count("a working target to start from") == 6
    words = ("limit", "bright_tank", "--good", "15ppb", "--act", "0.03 ppm", "--because", "our meter reads to 1")
    done = run(*words, "--by", "A. Maltby")
    assert done.exit_code == 0
    assert "Bright tank: good up to 15.0 µg/L, action from 30.0 µg/L, set by A. Maltby" in done.stdout
    own = {each["point"]: each for each in json.loads(run("limit", "--json").stdout)["limits"]}
    assert (own["bright_tank"]["limit_is"], own["pack"]["limit_is"]) == ("the brewery's", "a working target")
    done = run("limit", "bright_tank", "--give-up", "--because", "a slip", "--by", "A. Maltby")
    assert done.stdout.count("a working target to start from") == 6


@pytest.mark.parametrize(
    "words",
    [
        ("pack", "--good", "15"),
        ("pack", "--good", "30ppb", "--act", "15ppb", "--because", "x"),
        ("--good", "3ppb"),
        ("pack", "--give-up", "--because", "x"),
        ("moon",),
    ],
)
def test_a_limit_that_makes_no_sense_is_misuse(run, words):
    assert run("limit", *words).exit_code == 2
    assert run("limit").stdout.count("a working target to start from") == 6
