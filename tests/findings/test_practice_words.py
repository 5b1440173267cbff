"""Do a practice's words read well inside a sentence?"""

import pytest

from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_words import spoken, spoken_name
from analysis.findings.practices import practices
from analysis.vocabulary import PRACTICES


@pytest.mark.parametrize(
    ("label", "said"),
    [("Rouse time, all rouses", "rouse time"), ("Air bled?", "air bled"), ("CO2 purge", "CO2 purge"), ("By", "by")],
)
def test_a_label_is_said_in_lower_case(label, said):
    assert spoken(label) == said


def test_a_kept_name_is_said_as_its_label():
    assert spoken_name("cold_hours") == "time cold"
    assert spoken_name("silica_sol_dose") == "silica sol dose"


def test_a_level_is_said_against_the_other():
    form = Candidate(PRACTICES["format"], "x", 1.0, "keg against can", "keg", "can")
    line = Candidate(PRACTICES["line"], "x", 1.0, "2 against 1", "2", "1")
    assert (form.subject, form.spoken) == ("keg instead of can", "keg")
    assert line.subject == "line 2 instead of 1"


def test_the_answer_is_one_sentence_in_a_brewers_words(simulated_packs):
    finding = practices(simulated_packs, "haze")
    assert "rouse time" in finding.answer
    assert "all rouses" not in finding.answer
    assert finding.answer.endswith(".")
    assert "P40, the strictest of the recipes compared: 0.0600 EBC, which is" in finding.cautions[0]


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
