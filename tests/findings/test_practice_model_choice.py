"""Does the model follow the measure: its scale, the panel's sessions, a category with several levels in a batch?"""

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.findings.practices import practices
from analysis.vocabulary import PRACTICES, further_practice
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

BREWERY = SmallBrewery(batches=60, effects=(0.0, 0.0), recipes=3, packs=4, tank=0.0)


def rows_of(seed=3):
    return simulate_packs(BREWERY, np.random.default_rng(seed))


def hazy(spread):
    """Packs whose haze differs by ``spread`` of a level that goes from 1 to 9 EBC with the recipe."""
    rows = rows_of()
    level = rows["recipe"].map({"A10": 1.0, "A11": 4.0, "A12": 9.0})
    rng = np.random.default_rng(5)
    batch = rows["batch"].map(dict(zip(rows["batch"].unique(), rng.normal(0, 0.5, 60), strict=True)))
    noise = spread(level) * (batch + 0.5 * rng.normal(size=len(rows)))
    return practices(pack_table_of(rows.assign(haze=level + noise, haze_meter="HZ1"), BREWERY), "haze")


def test_haze_that_spreads_with_its_level_is_told_in_shares():
    finding = hazy(lambda level: 0.3 * level)
    assert finding.log
    assert "log scale fits better" in finding.grounds.design.scale.reason


def test_haze_that_spreads_evenly_is_told_as_it_is():
    finding = hazy(lambda level: 0.3 + 0 * level)
    assert not finding.log
    assert "plain scale fits better" in finding.grounds.design.scale.reason
    assert all(e.effect.low < 0.2 and e.effect.high > -0.2 for e in finding.practices)


def tasted(per_session, own=0.6):
    """Scores of 24 runs by 8 panellists, so many runs a session; what a session adds moves all its runs."""
    rng = np.random.default_rng(8)
    rows = rows_of().groupby("run", as_index=False).first().head(24)
    day = pd.Timestamp("2025-06-01")
    made = []
    for place, run in enumerate(rows.to_dict("records")):
        session = place // per_session
        mood = np.random.default_rng(100 + session).normal(0, own)
        for panellist in range(8):
            score = 3 + mood + 0.2 * panellist + rng.normal(0, 0.4)
            made.append({**run, "tasted_on": day + pd.Timedelta(days=7 * session), "panellist": f"P{panellist}",
                         "attribute": "papery", "score": score})  # fmt: skip
    tastings = pd.DataFrame(made).assign(total_oxygen=np.nan)
    return practices(replace(pack_table_of(rows_of(), BREWERY), tastings=tastings), "papery")


def test_a_session_in_which_several_runs_were_tasted_is_allowed_for():
    finding = tasted(3)
    assert "(1|session)" in finding.formula
    assert finding.fit.variance("session") > 0.1


def test_a_session_for_each_run_is_the_run():
    assert "session" not in tasted(1).formula


def test_a_category_with_several_levels_in_every_batch_says_so():
    rows = rows_of().assign(by="mixed")
    table = pack_table_of(rows, BREWERY)
    found = practices(replace(table, practices=(*table.practices, further_practice("By", "category", "operations"))),
                      "total_oxygen")  # fmt: skip
    reasons = {n.practice: n.reason for n in found.not_assessed}
    assert reasons["by"] == "has several in every batch, so that no batch can be held against another"


def test_a_change_a_week_apart_from_that_of_the_line_names_the_line():
    rows = rows_of()
    place = rows["batch"].astype(int) - 2001
    rows = rows.assign(practice_0=(place >= 30) * 1.0, line=np.where(place >= 32, "2", "1"))
    table = pack_table_of(rows, BREWERY)
    found = practices(replace(table, practices=(*table.practices, PRACTICES["line"])), "total_oxygen")
    effect = next(e for e in found.practices if e.practice == "practice_0")
    assert any("while the line also changed" in words for words in effect.cautions)
