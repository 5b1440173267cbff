"""Is a decision about a meter's readings kept, used everywhere and told there, and taken back without a trace?"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from analysis.findings.as_read import charts_as_read, forecast_as_read, rises_as_read, verdicts_as_read
from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import decide_meter, in_force, meter_decisions, take_back_meter, why_not
from analysis.findings.meter_otherwise import verdicts_otherwise
from analysis.findings.meters import meters
from analysis.findings.packs import packs
from analysis.findings.pickup import pickup
from analysis.findings.practices import practices
from analysis.findings.readiness import ready
from analysis.findings.stability import stability
from analysis.findings.table_in_use import table_in_use
from analysis.findings.tanks_now import batches_in_tank
from analysis.findings.wording import change
from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.linking import PackTable, Remark, pack_table
from analysis.records.taken import FileIntake, Intake, SheetIntake
from dashboard.commands import main

FIRST = pd.Timestamp("2026-01-05 08:00")
MOVES, WEEKS = 30, 48
RIGHT = MeterTreatment("OX-A", "dissolved_oxygen", Treatment.SET_RIGHT)
ASIDE = MeterTreatment("OX-A", "dissolved_oxygen", Treatment.SET_ASIDE)
AT = datetime(2026, 8, 3, 9, 0)


def checks(until: int = WEEKS, back: int = 10_000, again: int = 10_000) -> pd.DataFrame:
    """A check a week of each meter; OX-A reads a quarter more from the thirtieth week until ``back``, and ``again``."""
    draw = np.random.default_rng(3)
    rows = []
    for week in range(until):
        for meter in ("OX-A", "OX-B"):
            off = 0.22 if meter == "OX-A" and (MOVES <= week < back or week >= again) else 0.0
            shown = 9_000 * float(np.exp(off + draw.normal(0, 0.004)))
            rows.append((meter, FIRST + pd.Timedelta(weeks=week), "dissolved_oxygen", 9_000.0, shown))
    return pd.DataFrame(rows, columns=["meter", "checked_at", "quantity", "reference", "observed"])


def brewery() -> dict[str, pd.DataFrame]:
    """A batch a week of one recipe in cans, read in turn by the two meters: at the filler, and shaken in two packs."""
    draw = np.random.default_rng(4)
    batches, operations, runs, readings = [], [], [], []
    for week in range(WEEKS):
        batch, run, packed = f"{700 + week}", f"R{100 + week}", FIRST + pd.Timedelta(weeks=week, hours=3)
        meter = "OX-A" if week % 2 else "OX-B"
        off = np.exp(0.22) if meter == "OX-A" and week >= MOVES else 1.0
        minutes = float(draw.choice([0, 10, 20, 30]))
        batches.append({"batch": batch, "recipe": "P40", "brewed_on": packed - pd.Timedelta(days=14), "vessel": "FV1"})
        operations.append(
            {"batch": batch, "operation": "rouse", "started_at": packed - pd.Timedelta(days=3), "minutes": minutes}
        )
        runs.append(
            {"run": run, "batch": batch, "packed_at": packed, "format": "can", "size": 440.0, "headspace": 18.0}
        )
        for stage, sample, level in (("filler", None, 20.0), ("pack", "1", 35.0), ("pack", "2", 35.0)):
            value = level * float(np.exp(0.004 * minutes + draw.normal(0, 0.05))) * off
            readings.append(
                {"run": run, "batch": batch, "stage": stage, "sample": sample, "measured_at": packed, "unit": "µg/L",
                 "quantity": "dissolved_oxygen", "value": value, "temperature": 20.0, "meter": meter}
            )  # fmt: skip
        readings.append(
            {"run": run, "batch": batch, "stage": "pack", "sample": "1", "measured_at": packed, "quantity": "haze",
             "value": float(np.exp(draw.normal(0, 0.1))), "unit": "EBC", "meter": "HZ"}
        )  # fmt: skip
    frames = {"batches": batches, "operations": operations, "pack_runs": runs, "readings": readings}
    return {kind: pd.DataFrame(rows) for kind, rows in frames.items()}


def put(ledger: Ledger, file: str, frames: dict[str, pd.DataFrame]) -> int:
    """Put frames on record, a sheet a kind."""
    told = {
        kind: frame.assign(file=file, sheet=kind, source_row=range(2, len(frame) + 2)) for kind, frame in frames.items()
    }
    records = {kind: Snapshot.of({kind: f}).frame(kind).drop(columns=["record", "intake"]) for kind, f in told.items()}
    sheets = tuple(SheetIntake(file, kind, kind, 1, len(f), len(f), 0, 0, layout=kind) for kind, f in told.items())
    digest = hashlib.sha256(pd.util.hash_pandas_object(told[sheets[0].kind]).to_numpy().tobytes()).hexdigest()
    done = ledger.commit(Intake((FileIntake(file, digest, sheets),), (), records), by="demo")
    assert done.intake is not None
    return done.intake


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with the small brewery and the checks of forty-eight weeks."""
    path = tmp_path_factory.mktemp("decided") / "ledger.sqlite"
    with Ledger.open(str(path)) as ledger:
        put(ledger, "cellar.xlsx", brewery())
        put(ledger, "checks.xlsx", {"meter_checks": checks()})
    return path


@pytest.fixture
def ledger(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ledger]:
    monkeypatch.setenv("DROPBRIGHT_CACHE", str(tmp_path / "cache"))
    (tmp_path / "ledger.sqlite").write_bytes(made.read_bytes())
    with Ledger.open(str(tmp_path / "ledger.sqlite")) as opened:
        yield opened


def asked(ledger: Ledger):
    return meters(snapshot(ledger), pack_table(ledger), meter_decisions(ledger, standing=False))


def decide(ledger: Ledger, what: MeterTreatment = RIGHT):
    return decide_meter(ledger, what, "it reads high", "Ines", asked(ledger).meters, AT)


def same(one: PackTable, other: PackTable) -> bool:
    """Return whether two tables are alike to the last bit."""
    frames = [f.name for f in fields(PackTable) if isinstance(getattr(one, f.name), pd.DataFrame)]
    return one.practices == other.practices and all(getattr(one, n).equals(getattr(other, n)) for n in frames)


def test_a_decision_is_read_back_as_it_was_made(ledger: Ledger):
    what = MeterTreatment("OX-A", "dissolved_oxygen", Treatment.SET_RIGHT, date(2026, 8, 10), date(2026, 9, 30))
    decided = decide(ledger, what)
    assert meter_decisions(ledger) == (decided,)
    assert decided.what == replace(what, decided=AT)
    assert (decided.because, decided.by, decided.at) == ("it reads high", "Ines", AT)
    assert (decided.checks.state, decided.checks.checks) == ("shifted", WEEKS)
    assert decided.checks.bias == pytest.approx(100 * np.expm1(0.22), abs=0.5)
    document = json.loads(json.dumps(decided.as_document()))
    assert (document["treatment"], document["since"], document["taken_back"]) == ("set right", "2026-08-10", None)


def test_without_a_decision_the_table_is_the_linked_one(ledger: Ledger):
    table = table_in_use(ledger)
    assert table.as_read is None
    assert table.remarks == ()
    assert same(table, pack_table(ledger))


def test_set_right_every_stage_is_and_what_follows_from_it(ledger: Ledger):
    decide(ledger)
    table = table_in_use(ledger)
    read = table.as_read
    off = np.exp(0.22)
    moved = (read.rows["dissolved_oxygen_meter"] == "OX-A") & (read.rows["packed_at"] >= FIRST + pd.Timedelta(weeks=30))
    assert moved.sum() == 18
    for measure in ("dissolved_oxygen", "total_oxygen"):
        ratio = read.rows[measure] / table.rows[measure]
        assert ratio[moved].to_numpy() == pytest.approx(off, rel=0.004)
        assert (ratio[~moved] == 1).all()
    assert table.rows["total_oxygen_computed"].any()
    pd.testing.assert_series_equal(table.rows["haze"], read.rows["haze"])
    filler = read.readings["stage"] == "filler"
    ratio = (read.readings["value"] / table.readings["value"])[filler]
    assert (ratio > 1.01).sum() == 9
    assert table.state == ledger.state == 3


def test_set_aside_the_readings_are_not_there(ledger: Ledger):
    decide(ledger, ASIDE)
    table = table_in_use(ledger)
    assert len(table.as_read.readings) - len(table.readings) == 27
    aside = set(table.as_read.readings["record"]) - set(table.readings["record"])
    gone = table.as_read.readings[table.as_read.readings["record"].isin(aside)]
    assert set(gone["meter"]) == {"OX-A"}
    assert gone["measured_at"].min() >= FIRST + pd.Timedelta(weeks=30)
    assert table.rows["total_oxygen"].isna().sum() == table.as_read.rows["total_oxygen"].isna().sum() + 9
    assert table.readings["value"].notna().all()


@pytest.mark.parametrize("what", [RIGHT, ASIDE])
def test_taken_back_the_table_is_the_same_to_the_last_bit(ledger: Ledger, what: MeterTreatment):
    before = table_in_use(ledger)
    decided = decide(ledger, what)
    assert not same(table_in_use(ledger), before)
    back = take_back_meter(ledger, decided.number, "it was the standard", "Tam")
    after = table_in_use(ledger)
    assert (back.taken_back.by, back.taken_back.because) == ("Tam", "it was the standard")
    assert same(after, before)
    assert (after.as_read, after.remarks, after.state) == (None, (), 4)
    assert meter_decisions(ledger) == ()
    assert len(meter_decisions(ledger, standing=False)) == 1


def test_an_earlier_state_has_the_decisions_of_its_time(ledger: Ledger):
    decide(ledger)
    take_back_meter(ledger, 1, "no", "Tam")
    tables = [table_in_use(ledger, state) for state in (2, 3, 4)]
    assert [len(table.remarks) for table in tables] == [0, 1, 0]
    assert [table.state for table in tables] == [2, 3, 4]
    every = meter_decisions(ledger, standing=False)
    assert [len(in_force(every, state)) for state in (2, 3, 4)] == [0, 1, 0]


SAID = (
    "since 10 August 2026 are set right, as the meter read 24.6 % too high (decided by Ines on 3 August 2026: it "
    "reads high)."
)


def test_every_finding_says_what_was_done(ledger: Ledger):
    decide(ledger)
    table = table_in_use(ledger)
    assert practices(table, "total_oxygen").cautions[0] == f"18 readings of meter OX-A {SAID}"
    assert practices(table, "dissolved_oxygen").as_document()["cautions"][0] == f"18 readings of meter OX-A {SAID}"
    assert stability(table, "dissolved_oxygen", "filler").cautions[0] == f"9 readings of meter OX-A {SAID}"
    assert packs(table).as_document()["cautions"][0].endswith(SAID)
    assert pickup(table).as_document()["cautions"][0].endswith(SAID)
    for untouched in (practices(table, "haze"), stability(table, "haze")):
        assert not any("OX-A" in caution for caution in untouched.cautions)


@pytest.mark.parametrize("form", ["csv", "parquet", "xlsx"])
def test_every_export_carries_it(ledger: Ledger, form, tmp_path: Path):
    decide(ledger)
    made = packs(table_in_use(ledger)).export(form)
    if form == "xlsx":
        (tmp_path / "out.xlsx").write_bytes(made)
        told = pd.read_excel(tmp_path / "out.xlsx", sheet_name="About", header=None, engine="openpyxl").to_string(
            max_colwidth=None
        )
        assert SAID in told.replace("  ", " ")
    else:
        assert SAID.encode() in made


def test_what_would_be_told_of_the_readings_as_read_is_said(ledger: Ledger):
    assert verdicts_as_read(table_in_use(ledger), "total_oxygen") is None
    decide(ledger)
    table = table_in_use(ledger)
    verdicts = verdicts_as_read(table, "total_oxygen")
    read = {effect.label: str(effect.verdict) for effect in practices(table.as_read, "total_oxygen").practices}
    used = {effect.label: str(effect.verdict) for effect in practices(table, "total_oxygen").practices}
    assert {line.name: line.as_read for line in verdicts.lines} == read
    assert {line.name: line.in_use for line in verdicts.lines} == used
    charts = charts_as_read(table, "dissolved_oxygen")
    differing = [line for line in charts.lines if line.differs]
    assert "P40, can" in {line.name for line in differing}
    assert "1 chart would" in charts.answer or f"{len(differing)} charts would" in charts.answer
    assert json.loads(json.dumps(charts.as_document()))["charts"][0]["differs"] is True
    assert charts_as_read(table, "haze") is verdicts_as_read(table, "haze") is None


def test_rises_and_forecasts_as_read_are_said(ledger: Ledger):
    assert rises_as_read(table_in_use(ledger)) is forecast_as_read(table_in_use(ledger), "747") is None
    decide(ledger)
    table = table_in_use(ledger)
    rises = rises_as_read(table)
    closing = next(line for line in rises.lines if line.name == "from filler to closed pack")
    assert closing.differs
    assert closing.as_read.startswith(change(next(s for s in pickup(table.as_read).steps if s.rise).rise.value, "µg/L"))
    assert rises.answer == "With every reading as it was read, 1 rise would be another."
    assert forecast_as_read(table, "747") is None


def test_a_forecast_of_a_tank_is_told_both_ways(simulated_cellar: PackTable):
    batch = next(key for key in batches_in_tank(simulated_cellar))
    remark = Remark("of meter HZ1", "set right", {("haze", "fermenter"): 9})
    less = replace(simulated_cellar, readings=simulated_cellar.readings.assign(value=lambda r: r["value"] / 1.3))
    told = forecast_as_read(replace(less, remarks=(remark,), as_read=simulated_cellar), batch)
    assert told.remarks == ("9 readings of meter HZ1 are set right.",)
    (line,) = told.lines
    assert (line.name, line.differs) == (f"Batch {batch}", True)
    assert line.as_read == ready(simulated_cellar, batch, changes=False).answer


def test_the_three_ways_stand_beside_each_other_whatever_is_decided(ledger: Ledger):
    before = verdicts_otherwise(ledger, table_in_use(ledger), asked(ledger).meters)
    assert {one.measure for one in before} == {"dissolved_oxygen", "total_oxygen"}
    assert {one.readings for one in before} == {18}
    decide(ledger)
    assert verdicts_otherwise(ledger, table_in_use(ledger), asked(ledger).meters) == before
    told = {one.practice: one for one in before if one.measure == "dissolved_oxygen"}
    right = {e.practice: str(e.verdict) for e in practices(table_in_use(ledger), "dissolved_oxygen").practices}
    assert {name: told[name].set_right for name in right} == right


def test_the_size_follows_the_checks_and_the_decision_says_so(ledger: Ledger):
    decide(ledger)
    (stands,) = asked(ledger).standing
    assert stands.readings == 27
    assert stands.says == "27 readings since 10 August 2026 are set right, as the meter read 24.6 % too high."
    assert stands.course.startswith("Its checks say the same as on the day of the decision: shifted since about")
    ledger.withdraw(2, "old standards", "Tam")
    put(ledger, "checks again.xlsx", {"meter_checks": checks(60, back=44)})
    (stands,) = asked(ledger).standing
    assert "now they say steady since about 9 November 2026" in stands.course
    assert "It has come back: later readings are used as they were read." in stands.course
    assert "state 5 of the ledger" in stands.course
    assert stands.readings == 21
    late = table_in_use(ledger).remarks_on("dissolved_oxygen", stage="filler")
    assert late[0].startswith("7 readings of meter OX-A from 10 August 2026 to 2 November 2026 are set right")


def test_what_moves_again_later_is_no_part_of_the_decision(ledger: Ledger):
    decide(ledger)
    ledger.withdraw(2, "old standards", "Tam")
    put(ledger, "checks again.xlsx", {"meter_checks": checks(60, back=38, again=46)})
    finding = asked(ledger)
    bias = next(m for m in finding.meters if m.meter == "OX-A")
    assert len(bias.span.episodes) == 2
    (stands,) = finding.standing
    assert stands.readings == 12
    assert "It came back and moved again about 23 November 2026, of which this decision is no part" in stands.course
    assert any("OX-A has moved, and nobody has decided" in caution for caution in finding.cautions)
    take_back_meter(ledger, 1, "anew", "Tam")
    decide_meter(ledger, RIGHT, "again", "Tam", finding.meters, datetime(2026, 12, 24))
    assert asked(ledger).standing[0].readings == 15


def test_a_decision_without_checks_left_does_nothing_and_says_so(ledger: Ledger):
    decide(ledger)
    ledger.withdraw(2, "old standards", "Tam")
    (stands,) = asked(ledger).standing
    assert stands.readings == 0
    assert stands.says.startswith("No reading on record is set right by it")
    assert "No check of this meter is on record any more" in stands.course
    table = table_in_use(ledger)
    assert table.remarks_on() == ()
    assert same(table, pack_table(ledger))


def test_a_meter_that_moved_without_a_decision_is_a_caution(ledger: Ledger):
    undecided = "OX-A has moved, and nobody has decided about the readings since"
    assert any(undecided in caution for caution in asked(ledger).cautions)
    decide(ledger)
    assert not any(undecided in caution for caution in asked(ledger).cautions)
    document = asked(ledger).as_document()
    assert document["decisions"][0]["readings"] == 27
    take_back_meter(ledger, 1, "no", "Tam")
    assert asked(ledger).as_document()["taken_back"][0]["taken_back"]["by"] == "Tam"


@pytest.mark.parametrize(
    ("what", "why"),
    [
        (MeterTreatment("OX-B", "dissolved_oxygen", Treatment.SET_RIGHT), "do not show that it has moved"),
        (MeterTreatment("HZ", "haze", Treatment.SET_ASIDE), "say from which day"),
        (MeterTreatment("OX-A", "dissolved_oxygen", Treatment.SET_ASIDE, date(2026, 2, 2), date(2026, 2, 1)), "before"),
    ],
)
def test_what_cannot_be_done_is_refused(ledger: Ledger, what: MeterTreatment, why: str):
    assert why in why_not(what, (), asked(ledger).meters)
    with pytest.raises(ValueError, match=why):
        decide(ledger, what)
    assert ledger.state == 2


def test_a_second_decision_about_a_meter_is_refused(ledger: Ledger):
    decide(ledger)
    with pytest.raises(ValueError, match="set right already, by decision 1: take that back first"):
        decide(ledger, ASIDE)


def test_of_two_made_at_once_the_later_counts_and_the_other_says_so(ledger: Ledger):
    first = decide(ledger)
    ledger.decide("meter", {**first.as_document(), "treatment": "set aside"}, "so", "Tam", AT)
    earlier, later = asked(ledger).standing
    assert (earlier.says, earlier.readings) == ("It does nothing: decision 2, made later, counts.", 0)
    assert later.says.startswith("27 readings since 10 August 2026 are set aside")
    (remark,) = table_in_use(ledger).remarks_on("total_oxygen")
    assert "set aside" in remark
    assert "decided by Tam" in remark


def test_only_a_decision_about_a_meter_is_taken_back(ledger: Ledger):
    ledger.decide("signal", {}, "so", "Ines")
    with pytest.raises(ValueError, match="a decision about a meter, one that stands: there is none, got 1"):
        take_back_meter(ledger, 1, "no", "Tam")


def test_a_meter_without_checks_is_set_aside_from_a_day_on(ledger: Ledger):
    decide(ledger, MeterTreatment("HZ", "haze", Treatment.SET_ASIDE, date(2026, 6, 1), date(2026, 6, 30)))
    table = table_in_use(ledger)
    assert table.rows["haze"].notna().sum() == table.as_read.rows["haze"].notna().sum() - 5
    (told,) = table.remarks_on("haze")
    assert told.startswith("5 readings of meter HZ from 1 June 2026 to 30 June 2026 are set aside")


def run(ledger: Ledger, *words: str):
    return CliRunner().invoke(main, [*words, "--ledger", ledger.url])


def test_the_command_decides_and_takes_back(ledger: Ledger):
    result = run(ledger, "meters", "--set-right", "OX-A", "--because", "it reads high", "--by", "Ines", "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["decisions"][0]["says"].startswith("27 readings since 10 August 2026")
    told = run(ledger, "meters")
    assert "27 readings" in told.stdout
    assert "Its checks say the same" in told.stderr
    chart = json.loads(run(ledger, "chart", "dissolved_oxygen", "--json").stdout)
    assert "set right" in chart["cautions"][0]
    assert chart["as_read"]["charts"][0]["differs"]
    verdicts = run(ledger, "practices", "total_oxygen")
    assert "With every reading as it was read" in verdicts.stderr
    back = run(ledger, "meters", "--take-back", "1", "--because", "no", "--by", "Tam", "--json")
    assert json.loads(back.stdout)["decisions"] == []
    assert "as_read" not in json.loads(run(ledger, "practices", "total_oxygen", "--json").stdout)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--set-right", "OX-A"), "Say why with --because"),
        (("--set-right", "OX-A", "--set-aside", "OX-A", "--because", "x"), "Give one of"),
        (("--set-right", "OX-B", "--because", "x"), "do not show that it has moved"),
        (("--set-right", "OX-Z", "--because", "x"), "No check of a meter OX-Z is on record"),
        (("--take-back", "4", "--because", "x"), "No decision 4 about a meter stands. Standing: none."),
    ],
)
def test_the_command_refuses_misuse_in_plain_words(ledger: Ledger, words: tuple[str, ...], told: str):
    result = run(ledger, "meters", *words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert ledger.state == 2
