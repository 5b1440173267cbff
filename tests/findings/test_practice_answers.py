"""Is a practice that follows the haze never told to raise it, nor to make no difference?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.practice_levels import told_of_levels
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES, dose_practice, further_practice
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

BREWERY = SmallBrewery(batches=90, effects=(0.0,), recipes=2, packs=3, tank=0.0)
ADDED = pd.Timestamp("2025-01-02 10:00")
AGENT = dose_practice("isinglass", "mL/hL")


def remedied(effect, *, read, answers=True, seed=3):
    """Tanks whose dose follows how hazy they had read (where ``answers``); a step of it changes haze by ``effect``."""
    rng = np.random.default_rng(seed)
    rows = simulate_packs(BREWERY, rng)
    batches = rows["batch"].unique()
    tank = pd.Series(rng.normal(0.0, 0.4, len(batches)), batches)
    called = tank if answers else pd.Series(rng.normal(0.0, 0.4, len(batches)), batches)
    dose = 200 + 250 * called.clip(-0.7) + 40 * rng.normal(size=len(batches))
    log_haze = np.log(3.0) + 0.7 * tank + effect * (dose - 200) / 50
    own = pd.Series(0.05 * rng.normal(size=len(batches)), batches)
    noise = 0.05 * rng.normal(size=len(rows)) + rows["batch"].map(own)
    rows = rows.assign(
        haze=np.exp(rows["batch"].map(log_haze) + noise), haze_meter="HZ1", isinglass_dose=rows["batch"].map(dose)
    )
    place = np.arange(len(batches))
    begun = ADDED + pd.to_timedelta(4 * place, unit="D")
    operations = pd.DataFrame({"batch": batches, "operation": "finings", "agent": "isinglass", "started_at": begun})
    shown, when = np.exp(1.5 + tank.to_numpy()), begun - pd.Timedelta(hours=20)
    readings = pd.DataFrame(
        {"batch": batches, "stage": "fermenter", "quantity": "haze", "value": shown, "measured_at": when}
    )
    table = pack_table_of(rows, BREWERY)
    return practices(replace(table, practices=(*table.practices, AGENT), operations=operations,
                             readings=readings if read else pd.DataFrame()), "haze")  # fmt: skip


def dose_of(finding):
    return next(e for e in finding.practices if e.practice == "isinglass_dose")


@pytest.mark.parametrize("effect", [0.0, -0.08])
@pytest.mark.parametrize("read", [True, False])
def test_a_dose_that_was_called_for_by_haze_is_not_told_to_raise_it(effect, read):
    told = dose_of(remedied(effect, read=read))
    assert told.judgement.effect.estimate > 0
    assert told.verdict is Verdict.CANNOT_TELL_YET
    assert "may be a consequence of the haze" in told.judgement.reasons[0]
    assert told.needed is None


def test_where_tanks_were_read_it_is_seen_that_the_dose_followed():
    told = dose_of(remedied(-0.1, read=True))
    assert any("more of it in tanks that had read hazier before (90 batches)" in c for c in told.cautions)
    assert told.verdict is not Verdict.NO_PRACTICAL_DIFFERENCE


def test_a_dose_that_lowers_haze_all_the_same_is_told():
    told = dose_of(remedied(-0.4, read=True))
    assert told.verdict is Verdict.LOWERS


def test_a_dose_that_follows_nothing_is_told_as_ever():
    told = dose_of(remedied(-0.3, read=True, answers=False))
    assert told.verdict is Verdict.LOWERS
    assert not any("consequence" in c for c in told.cautions)


def test_without_an_answer_to_the_tank_the_caution_is_rare():
    said = [
        any("consequence" in c for c in dose_of(remedied(0.0, read=True, answers=False, seed=s)).cautions)
        for s in range(25)
    ]
    assert sum(said) <= 2


def test_oxygen_calls_for_no_finings():
    finding = remedied(0.0, read=True)
    table = replace(pack_table_of(simulate_packs(BREWERY, np.random.default_rng(1)).assign(cold_hours=0.0), BREWERY))
    assert finding.measure.name == "haze"
    rows = table.rows.assign(cold_hours=table.rows["practice_0"] * 24 + 96)
    found = practices(
        replace(table, rows=rows.assign(practice_0=np.nan), practices=(PRACTICES["cold_hours"],)), "total_oxygen"
    )
    assert not any("consequence" in c for e in found.practices for c in e.cautions)


def levels(factor, seed=2):
    """Twelve glass makers, one of whose packs read by a factor higher."""
    rng = np.random.default_rng(seed)
    rows = simulate_packs(BREWERY.changed(batches=120), rng)
    maker = dict(zip(rows["batch"].unique(), [f"G{i % 12}" for i in range(120)], strict=True))
    rows = rows.assign(glass=rows["batch"].map(maker))
    rows["total_oxygen"] *= np.where(rows["glass"] == "G3", factor, 1.0)
    table = pack_table_of(rows, BREWERY)
    glass = further_practice("Glass", "category", "batches")
    found = practices(replace(table, practices=(*table.practices, glass)), "total_oxygen")
    return found, {n.practice: n.reason for n in found.not_assessed}["glass"]


def test_a_level_of_twelve_that_stands_out_is_named():
    _, reason = levels(1.6)
    assert "the 12 that were seen differ by about" in reason
    assert "G3 (+" in reason
    assert "stands out against the others" in reason


def test_the_best_of_twelve_levels_is_not_believed():
    told = [levels(1.0, seed)[1] for seed in range(20)]
    assert sum("stands out against" in reason or "stand out against" in reason for reason in told) <= 3


def test_without_such_a_category_nothing_is_said_of_levels():
    finding = practices(pack_table_of(simulate_packs(BREWERY, np.random.default_rng(1)), BREWERY), "total_oxygen")
    assert told_of_levels(finding.grounds.workings, "µg/L", log=True) == {}
