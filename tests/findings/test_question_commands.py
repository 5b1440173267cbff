"""Do ``pickup``, ``ready`` and ``meters`` answer on the invented workbooks, with their documents and exit codes?"""

import json
import math
from datetime import datetime

import pytest
from click.testing import CliRunner

from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.commands import main
from data_demo import truth
from data_demo.laboratory import meter_bias
from data_demo.workbooks import write_workbooks


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    folder = tmp_path_factory.mktemp("questions")
    found = f"sqlite:///{folder / 'ledger.sqlite'}"
    with pytest.MonkeyPatch.context() as patch, Ledger.open(found) as ledger:
        patch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))
        files = [SourceFile(path, path.name) for path in write_workbooks(folder / "books")]
        ledger.commit(take_in(files), by="demo")
        yield found


def ask(url, *words):
    return CliRunner().invoke(main, [*words, "--ledger", url])


def test_meters_finds_the_drift_in_the_workbooks(url):
    result = ask(url, "meters", "--json")
    assert result.exit_code == 0, result.output
    rows = {row["meter"]: row for row in json.loads(result.stdout)["meters"]}
    assert set(rows) == {meter.name for meter in truth.METERS}
    agreed = {"meter", "quantity", "checks", "bias", "low", "high", "state", "since"}
    assert all(agreed <= set(row) for row in rows.values())
    drifting = rows.pop(truth.METER_DRIFT.meter)
    assert drifting["state"] == "drifting"
    since = datetime.fromisoformat(drifting["since"]).date()
    assert abs((since - truth.METER_DRIFT.begins).days) <= 14, "within two weekly checks"
    meter = next(meter for meter in truth.METERS if meter.name == drifting["meter"])
    true = 100 * math.expm1(meter_bias(meter, datetime.fromisoformat(drifting["span"]["bias_at"])))
    assert drifting["low"] <= true <= drifting["high"]
    assert {row["state"] for row in rows.values()} == {"steady"}
    assert all(row["since"] is None for row in rows.values())


def test_meters_are_told_in_words(url):
    result = ask(url, "meters")
    assert result.exit_code == 0
    assert "drifting" in result.stdout
    assert "HZ2" in result.stderr
    assert "one reading is not enough" in result.stderr


def test_meters_tells_the_verdicts_without_what_has_moved(url):
    told = json.loads(ask(url, "meters", "--otherwise", "--json").stdout)["otherwise"]
    assert {one["measure"] for one in told} == {"dissolved_oxygen", "total_oxygen"}
    bled = next(one for one in told if (one["measure"], one["practice"]) == ("total_oxygen", "air_bled"))
    assert bled["as_read"] == bled["set_right"] == "lowers"
    assert "Set aside" in ask(url, "meters", "--otherwise").stdout


def test_pickup_gives_every_step(url):
    document = json.loads(ask(url, "pickup", "--json").stdout)
    steps = {step["step"]: step for step in document["steps"]}
    assert list(steps) == ["rouse", "racking", "to_filler", "closing"]
    assert max(steps, key=lambda name: steps[name]["rise"]) == "closing"
    assert all(step["low"] < step["rise"] < step["high"] for step in steps.values())
    assert abs(document["balance"]["accounted"]["share"] - truth.PICKUP.filler) < 0.06


def test_pickup_of_a_recipe_that_there_is_not(url):
    result = ask(url, "pickup", "--recipe", "none")
    assert result.exit_code == 1
    assert "Too few batches" in result.stderr


def test_ready_foretells_a_tank_and_names_the_others(url):
    unknown = ask(url, "ready", "nowhere", "--json")
    assert unknown.exit_code == 1
    tanks = json.loads(unknown.stdout)["in_tank"]
    answers = [ask(url, "ready", batch, "--json") for batch in tanks]
    told = [json.loads(one.stdout) for one in answers]
    assert [one.exit_code for one in answers] == [0 if one["forecast"] else 1 for one in told]
    foretold = [one for one in told if one["forecast"]]
    assert foretold
    for one in foretold:
        days = one["forecast"]
        assert all(day["low"] <= day["expected"] <= day["high"] for day in days)
        assert one["ready_on"] is None or one["ready_on"] in {day["at"] for day in days}
        assert one["checked"]["low"] <= one["checked"]["level"] <= one["checked"]["high"]
        assert {change["practice"] for change in one["changes"]} >= {"cone_dumps", "isinglass_dose"}


def test_ready_refuses_a_confidence_that_is_none(url):
    assert ask(url, "ready", "2479", "--confidence", "1.5").exit_code == 2


def test_nothing_on_record_is_an_answer(tmp_path):
    own = f"sqlite:///{tmp_path / 'new.sqlite'}"
    for words in (["meters"], ["pickup"], ["ready", "1"]):
        assert ask(own, *words).exit_code == 1, words
