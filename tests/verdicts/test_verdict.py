"""Are the four verdicts said exactly when they may be?"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.verdicts import (
    Effect,
    Margin,
    MarginAtLevel,
    Verdict,
    adjusted_p_values,
    false_coverage_level,
    judge_family,
    strictest,
    two_one_sided_tests,
    working_margin,
)

TEN = MarginAtLevel.at(Margin(10, "µg/L", "QA"), 100, log=False)


def one(estimate, standard_error, margin=TEN, df=50, **more):
    return judge_family([Effect("rouse_minutes", estimate, standard_error, df, **more)], margin)[0]


@pytest.mark.parametrize(
    ("estimate", "standard_error", "verdict"),
    [
        (30, 5, Verdict.RAISES),
        (-30, 5, Verdict.LOWERS),
        (0, 2, Verdict.NO_PRACTICAL_DIFFERENCE),
        (5, 1, Verdict.NO_PRACTICAL_DIFFERENCE),
        (0, 20, Verdict.CANNOT_TELL_YET),
        (9, 4, Verdict.RAISES),
    ],
)
def test_the_four_verdicts(estimate, standard_error, verdict):
    assert one(estimate, standard_error).verdict is verdict


def test_small_but_real_is_said_beside_no_practical_difference():
    judgement = one(5, 1)
    assert judgement.small_but_real
    assert not one(0, 2).small_but_real


def test_size_is_certain_only_when_the_near_end_passes_the_margin():
    assert one(30, 5).size_certain
    assert not one(12, 4).size_certain


def test_without_a_margin_no_practical_difference_is_never_said():
    judgement = one(0, 1e-6, margin=None)
    assert judgement.verdict is Verdict.CANNOT_TELL_YET
    assert math.isnan(judgement.p_equivalent)
    assert "no margin is set" in judgement.reasons[-1]


def test_a_lowered_effect_keeps_its_reason():
    judgement = one(30, 5, lowered_by=("moves together with cone dumps",))
    assert judgement.verdict is Verdict.CANNOT_TELL_YET
    assert judgement.reasons == ("moves together with cone dumps",)


def test_one_of_forty_that_stands_out_alone_is_not_believed():
    effects = [Effect("lucky", 2.2, 1, 200)] + [Effect(f"p{i}", 0.1, 1, 200) for i in range(39)]
    judgement = judge_family(effects, None)[0]
    assert judgement.p < 0.05 < judgement.q
    assert judgement.verdict is Verdict.CANNOT_TELL_YET
    assert "not among all questions" in judgement.reasons[0]


def test_selected_intervals_widen_with_the_number_asked():
    effects = [Effect("real", 6, 1, 200)] + [Effect(f"p{i}", 0.1, 1, 200) for i in range(19)]
    judgement = judge_family(effects, None)[0]
    assert judgement.selected_low < judgement.low
    assert false_coverage_level(1, 20) == pytest.approx(0.9975)
    assert false_coverage_level(20, 20) == pytest.approx(0.95)


@given(
    st.floats(-50, 50),
    st.floats(0.1, 50),
    st.floats(3, 500),
)
def test_no_practical_difference_exactly_when_the_ninety_percent_interval_is_inside(estimate, standard_error, df):
    judgement = one(estimate, standard_error, df=df)
    inside = judgement.inner_low > TEN.below and judgement.inner_high < TEN.above
    assert (judgement.verdict is Verdict.NO_PRACTICAL_DIFFERENCE) == inside


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_adjusted_values_never_fall_below_the_raw_ones(p):
    assert np.all(adjusted_p_values(p) >= np.array(p) - 1e-12)


def test_questions_not_tested_do_not_count():
    assert adjusted_p_values([0.01, np.nan])[0] == pytest.approx(0.01)


def test_a_relative_margin_is_told_in_the_kept_unit():
    margin = MarginAtLevel.at(working_margin("haze"), 2.0, log=True)
    assert margin.margin.is_default
    assert margin.absolute == pytest.approx(0.4)
    assert margin.above == pytest.approx(math.log(1.2))
    assert margin.below == pytest.approx(math.log(0.8))


def test_a_margin_as_large_as_the_level_leaves_the_lower_side_open():
    assert MarginAtLevel.at(Margin(2, "EBC", "QA"), 1.5, log=True).below == -math.inf


def test_the_strictest_recipe_judges():
    bright = MarginAtLevel.at(Margin(0.3, "EBC", "QA", recipe="P40"), 1, log=True)
    hazy = MarginAtLevel.at(Margin(10, "EBC", "QA", recipe="N70"), 120, log=True)
    assert strictest([bright, hazy]) is hazy


@pytest.mark.parametrize(
    "call",
    [
        lambda: Margin(0, "EBC", "QA"),
        lambda: two_one_sided_tests(0, 1, 10, 1, 2),
        lambda: two_one_sided_tests(0, 0, 10, -1, 1),
        lambda: adjusted_p_values([1.2]),
        lambda: false_coverage_level(3, 2),
        lambda: strictest([]),
        lambda: MarginAtLevel.at(Margin(1, "%", "QA"), 0, log=False),
        lambda: judge_family([Effect("x", 0, 0, 5)], TEN),
        lambda: judge_family([Effect("x", 0, 1, 5)], [TEN, TEN]),
    ],
)
def test_misuse_is_refused(call):
    with pytest.raises(ValueError, match="must"):
        call()


def test_an_effect_of_which_a_share_cannot_be_seen_has_to_stay_further_inside():
    """A practice written down coarsely shows 0.75 of what it does: 4.2 seen is 5.6 done, beyond a margin of 5."""
    plain = MarginAtLevel.at(Margin(5.0, "µg/L", "AB"), 50.0, log=False)
    seen = Effect("coarse", 4.2, 0.2, 60)
    assert judge_family([seen], plain)[0].verdict is Verdict.NO_PRACTICAL_DIFFERENCE
    judged = judge_family([seen], plain.less(0.25))[0]
    assert judged.verdict is Verdict.RAISES
    assert not judged.size_certain
    assert plain.less(0.25).inside == (-3.75, 3.75)
    with pytest.raises(ValueError, match="lost must be 0 to below 1"):
        plain.less(1.0)
