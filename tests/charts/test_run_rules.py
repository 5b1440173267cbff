"""Do the run rules mark what their wording says, and is every decision about them kept?"""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.charts import ALL_RULES, RULES, run_signals

VECTORS = json.loads((Path(__file__).parents[1] / "published" / "charts_run_rules.json").read_text())["vectors"]


def completes(z, rule, **options):
    return (run_signals(z, [rule], **options).of(rule).at + 1).tolist()


@pytest.mark.parametrize("case", VECTORS, ids=lambda case: f"{case['rule']}, {len(case['completes'])} marks")
def test_vectors(case):
    assert completes(case["z"], case["rule"]) == case["completes"]


@pytest.mark.parametrize("case", VECTORS, ids=lambda case: f"{case['rule']}, {len(case['completes'])} marks")
def test_vectors_turned_upside_down(case):
    assert completes([-z for z in case["z"]], case["rule"]) == case["completes"]


def test_a_point_beyond_three_sigma_counts_toward_two_of_three():
    assert completes([3.4, 0, 2.2], "two-of-three") == [3]


def test_two_of_three_and_four_of_five_want_the_same_side():
    assert completes([2.5, -2.5, 0.1], "two-of-three") == []
    assert completes([1.5, 1.5, -1.5, 1.5, -1.5], "four-of-five") == []


def test_the_newest_point_must_lie_in_the_zone():
    assert completes([2.5, 2.5, 0.0], "two-of-three") == [2]
    assert completes([1.5, 1.5, 1.5, 1.5, 0.0], "four-of-five") == [4]


def test_the_completing_point_is_marked_and_the_pattern_is_kept():
    found = run_signals([0.0] + [0.5] * 9, ["nine-on-a-side"]).listed()
    assert [(signal.at, signal.start, signal.side) for signal in found] == [(9, 1, 1)]


def test_the_pattern_of_a_short_series_starts_with_the_series():
    found = run_signals([2.5, 2.5], ["two-of-three"]).listed()
    assert [(signal.at, signal.start) for signal in found] == [(1, 0)]


def test_a_tie_breaks_a_trend_and_an_alternation():
    assert completes([1, 2, 3, 3, 4, 5, 6], "six-in-a-trend") == []
    assert completes([1, 3, 2, 4, 3, 5, 5, 6, 5, 7, 6, 8, 7, 9, 8], "fourteen-alternating") == []


def test_a_point_on_the_centre_breaks_a_run():
    assert completes([0.5] * 8 + [0.0] + [0.5] * 8, "nine-on-a-side") == []


def test_a_point_on_a_limit_is_inside():
    assert completes([3.0, -3.0, 3.0 + 1e-12], "beyond-limit") == []
    assert completes([1.0] * 15, "fifteen-inside") == [15]
    assert completes([2.0, 2.0, 2.0], "two-of-three") == []


def test_runs_start_anew_at_a_phase():
    z = [0.5] * 16
    assert completes(z, "nine-on-a-side", phases=[0] * 8 + [1] * 8) == []
    assert completes([2.5, 2.5], "two-of-three", phases=[0, 1]) == []


def test_a_gap_starts_every_pattern_anew():
    assert completes([0.5] * 5 + [np.nan] + [0.5] * 5, "nine-on-a-side") == []
    assert completes([1, 2, 3, np.nan, 4, 5, 6], "six-in-a-trend") == []
    assert completes([2.5, np.nan, 2.5, 2.5], "two-of-three") == [4]


def test_every_rule_that_fired_is_kept():
    codes = run_signals([1.5, 2.5, 1.5, 3.5], ALL_RULES).codes()
    assert codes == ((), (), (), ("beyond-limit", "two-of-three", "four-of-five"))


def test_rules_are_switched_by_naming_them():
    z = [0.5] * 9 + [4.0]
    assert run_signals(z, ["beyond-limit"]).codes()[8:] == ((), ("beyond-limit",))
    assert run_signals(z, ["beyond-limit", "nine-on-a-side"]).codes()[8] == ("nine-on-a-side",)
    assert run_signals(z, []).points.size == 0


def test_every_rule_says_where_it_comes_from():
    for rule in RULES.values():
        assert rule.says and rule.source[-4:].isdigit()


def test_an_unknown_rule_is_misuse():
    with pytest.raises(ValueError, match=r"rules must be among beyond-limit.*got 'ten-on-a-side'"):
        run_signals([0.0], ["ten-on-a-side"])


def test_no_points_give_no_signals():
    assert run_signals([], ALL_RULES).codes() == ()
    assert run_signals([np.nan, np.nan], ALL_RULES).first is None


def slowly(z, rule):
    """Each rule as its sentence says it, one point at a time."""

    def last(i, m):
        window = z[max(0, i - m + 1) : i + 1]
        return window if len(window) == m else None

    def some(i, least, m, sigmas):
        window = z[max(0, i - m + 1) : i + 1]
        return any(s * z[i] > sigmas and sum(s * x > sigmas for x in window) >= least for s in (1, -1))

    def row(i, m, test):
        window = last(i, m)
        return window is not None and test(window)

    tests = {
        "beyond-limit": lambda i: abs(z[i]) > 3,
        "two-of-three": lambda i: some(i, 2, 3, 2),
        "four-of-five": lambda i: some(i, 4, 5, 1),
        "eight-on-a-side": lambda i: row(i, 8, lambda w: min(w) > 0 or max(w) < 0),
        "nine-on-a-side": lambda i: row(i, 9, lambda w: min(w) > 0 or max(w) < 0),
        "six-in-a-trend": lambda i: row(i, 6, lambda w: all(np.diff(w) > 0) or all(np.diff(w) < 0)),
        "fourteen-alternating": lambda i: row(
            i, 14, lambda w: all(np.diff(w) != 0) and all(np.diff(np.sign(np.diff(w))) != 0)
        ),
        "fifteen-inside": lambda i: row(i, 15, lambda w: max(map(abs, w)) <= 1),
        "eight-outside": lambda i: row(i, 8, lambda w: min(map(abs, w)) > 1 and min(w) < -1 and max(w) > 1),
    }
    return [i + 1 for i in range(len(z)) if tests[rule](i)]


@given(
    st.sampled_from(sorted(RULES)),
    st.one_of(
        st.lists(st.sampled_from([-3.5, -2.5, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.5, 3.5]), max_size=40),
        st.lists(st.sampled_from([-1.5, 1.5]), max_size=40),
        st.lists(st.sampled_from([0.25, 0.5, 0.75]), max_size=40),
        st.lists(st.integers(0, 1), max_size=40).map(lambda ups: np.cumsum(np.array(ups) * 2.0 - 1).tolist()),
    ),
)
def test_each_rule_against_its_sentence(rule, z):
    assert completes(z, rule) == slowly(z, rule)
