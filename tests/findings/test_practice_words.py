"""Do a practice's words read well inside a sentence?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_words import quoted_level, spoken, spoken_measure, spoken_name
from analysis.findings.practices import practices
from analysis.vocabulary import MEASURES, PRACTICES, further_practice
from data_demo import truth
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("Rouse time, all rouses", "rouse time"),
        ("Air bled?", "air bled"),
        ("CO2 purge", "CO2 purge"),
        ("By", "by"),
        ("Purge [s], side A/B", "“Purge [s], side A/B”"),
        ("#3", "“#3”"),
        ("Old/new gasket", "old/new gasket"),
        (
            "Was it opened, and shut again by the night shift (yes/no)",
            "“Was it opened, and shut again by the night shift”",
        ),
    ],
)
def test_a_label_is_said_in_lower_case(label, said):
    assert spoken(label) == said


def test_a_measure_is_said_as_it_is_written():
    assert [spoken_measure(MEASURES[name]) for name in ("ph", "haze")] == ["pH", "haze"]


def test_a_unit_behind_a_name_is_left_out():
    assert spoken("Pitch rate (g/hL)", "g/hL") == "pitch rate"
    assert spoken("Pitch rate (old)", "g/hL") == "pitch rate (old)"
    assert spoken("Sparge (pH)", "pH") == "sparge (pH)", "a pH is what was read, not a unit of the sparge"


@pytest.mark.parametrize(("level", "said"), [("2", "2"), ("FV3", "FV3"), ("North", "“North”"), ("2, new", "“2, new”")])
def test_a_level_that_is_no_code_is_quoted(level, said):
    assert quoted_level(level) == said


def test_a_kept_name_is_said_as_its_label():
    assert spoken_name("cold_hours") == "time cold"
    assert spoken_name("silica_sol_dose") == "silica sol dose"


def test_a_level_is_said_against_the_other():
    form = Candidate(PRACTICES["format"], "x", 1.0, "keg against can", "keg", "can")
    line = Candidate(PRACTICES["line"], "x", 1.0, "2 against 1", "2", "1")
    assert (form.subject, form.spoken) == ("keg instead of can", "keg")
    assert line.subject == "line 2 instead of 1"
    own = Candidate(PRACTICES["line"], "x", 1.0, "Line 2/new against 1", "Line 2/new", "1")
    assert (own.label, own.subject) == ("Line 2/new", "“Line 2/new” instead of 1")
    bled = Candidate(further_practice("Air bled? (y/n)", "yes_no", "operations"), "x", 1.0, "yes against no")
    assert (bled.subject, bled.spoken) == ("“Air bled”", "air bled")


def test_what_always_moves_with_a_dose_is_named_with_how_much(simulated_packs):
    finding = practices(simulated_packs, "haze")
    (pair,) = (e for e in finding.practices if " + " in e.practice)
    assert pair.label == "Silica sol dose, with auxiliary dose"
    assert pair.spoken == "silica sol dose together with auxiliary dose"
    (together,) = (c for c in pair.cautions if c.startswith("moves together"))
    said = float(together.partition("about ")[2].partition(" mL/hL")[0])
    assert said == pytest.approx(50 * truth.PAIR.ratio, rel=0.08)  # 50 mL/hL of silica sol go with 167 of the other


def test_a_correlation_the_other_way_round_has_a_minus_as_every_number_has():
    brewery = SmallBrewery(batches=80, effects=(0.0, 0.0), recipes=1, together=0.8)
    rows = simulate_packs(brewery, np.random.default_rng(5))
    finding = practices(pack_table_of(rows.assign(practice_1=-rows["practice_1"]), brewery), "total_oxygen")
    said = [c for e in finding.practices for c in e.cautions if c.startswith("moves in part with")]
    assert said
    assert all("correlation −0." in words for words in said)


def test_a_column_that_makes_no_practice_is_named_with_the_reason(simulated_packs):
    refused = pd.DataFrame({"name": ["remark"], "kind": ["batches"], "reason": ["30 different texts in 30 cells"]})
    finding = practices(replace(simulated_packs, not_offered=refused), "haze")
    assert ("remark", "30 different texts in 30 cells") in [(n.practice, n.reason) for n in finding.not_assessed]


def test_the_answer_is_one_sentence_in_a_brewers_words(simulated_packs):
    finding = practices(simulated_packs, "haze")
    assert "rouse time" in finding.answer
    assert "all rouses" not in finding.answer
    assert finding.answer.endswith(".")
    assert "P40, the strictest of the recipes compared: 0.06 EBC, which is" in finding.cautions[0]


def test_small_effects_that_are_sure_are_counted_in_the_answer():
    brewery = SmallBrewery(batches=300, effects=(0.05, 0.0), recipes=1, batch=0.08, pack=0.05, tank=0.0, margin=30.0)
    rows = simulate_packs(brewery, np.random.default_rng(3))
    finding = practices(pack_table_of(rows, brewery), "total_oxygen")
    assert finding.answer.endswith("2 practices make no practical difference (1 of them does have a small effect).")


def test_hours_are_told_in_days_and_counts_as_counts(simulated_packs):
    said = {e.practice: e.cautions for e in practices(simulated_packs, "haze").practices}
    assert any("days; nothing is said beyond it" in c for c in said["cold_hours"])
    assert "range seen 1 to 5 dumps; nothing is said beyond it" in said["cone_dumps"]


def test_a_certain_size_and_a_small_but_real_effect_are_said(simulated_packs):
    finding = practices(simulated_packs, "total_oxygen")
    headers, rows = finding.in_words()
    verdicts = {row[0]: row[headers.index("Verdict")] for row in rows}
    certain = [e.label for e in finding.practices if e.judgement.size_certain]
    assert certain
    assert all("surely by more than the margin" in verdicts[label] for label in certain)
