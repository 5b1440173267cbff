"""Are phases kept with their reasons, and does an adjusted chart show what the practices do not explain?"""

import numpy as np
import pytest

from analysis.charts import LeftOut, Phase, adjusted, individuals, mark_phases


def test_phases_as_the_charts_take_them():
    phases = (
        Phase(0, 0, 3, "first month on the new line", (LeftOut(2, "meter was out of calibration"),)),
        Phase(5, 6, 99, "chuck replaced"),
    )
    marks = mark_phases(phases, 8)
    assert marks.phase.tolist() == [0, 0, 0, 0, 0, 1, 1, 1]
    assert marks.baseline.tolist() == [True, True, False, True, False, False, True, True]
    chart = individuals(np.arange(8.0), phases=marks.phase, baseline=marks.baseline).values
    assert chart.centre[0] == pytest.approx((0 + 1 + 3) / 3)
    assert chart.centre[-1] == pytest.approx(6.5)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Phase(0, 0, 5, " "), "because must give the reason"),
        (lambda: LeftOut(2, ""), "because must give the reason"),
        (lambda: Phase(4, 2, 6, "x"), "in this order"),
        (lambda: Phase(0, 2, 6, "x", (LeftOut(7, "y"),)), "left_out must name runs of the baseline"),
        (lambda: mark_phases((), 5), "must begin at run 0"),
        (lambda: mark_phases((Phase(1, 1, 2, "x"),), 5), "must begin at run 0"),
        (lambda: mark_phases((Phase(0, 0, 9, "x"), Phase(5, 5, 8, "y")), 20), "before the next phase begins"),
    ],
)
def test_a_phase_without_reason_or_order_is_misuse(make, said):
    with pytest.raises(ValueError, match=said):
        make()


def test_the_phase_with_the_fewest_runs_is_the_one_to_be_careful_of():
    values = np.random.default_rng(8).normal(size=60)
    phase = np.repeat([0, 1], 30)
    baseline = np.arange(60) < 42
    assert (
        individuals(values, phases=phase, baseline=baseline).values.cautions[0].startswith("Limits from only 12 runs")
    )
    assert individuals(values, phases=phase).values.cautions == ()


def brewed(seed, n=80):
    """Runs whose level follows the dose: fined less in the second half."""
    rng = np.random.default_rng(seed)
    dose = np.where(np.arange(n) < 40, 4.0, 2.5) + rng.normal(0, 0.3, n)
    expected = np.exp(1.0 - 0.4 * dose)
    return expected * np.exp(rng.normal(0, 0.1, n)), expected


def test_a_signal_that_is_merely_fined_less_goes():
    values, expected = brewed(1)
    baseline = np.arange(80) < 40
    plain = individuals(values, scale="log", baseline=baseline).values
    left = adjusted(values, expected, scale="log", baseline=baseline)
    assert plain.signals.points.size > 10
    assert left.chart.signals.of("beyond-limit").at.size <= 1
    assert left.share_explained > 0.3
    assert left.explained[40:].mean() == pytest.approx(0.6, abs=0.1)


def test_a_fault_that_the_practices_do_not_explain_stays():
    values, expected = brewed(2)
    values[70:] *= 2.0
    left = adjusted(values, expected, scale="log", baseline=np.arange(80) < 40)
    assert set(range(70, 80)) <= set(left.chart.signals.of("beyond-limit").at.tolist())


def test_what_is_left_stands_in_the_measures_unit_at_the_baselines_practices():
    values, expected = brewed(3)
    baseline = np.arange(80) < 40
    left = adjusted(values, expected, scale="log", baseline=baseline)
    plain = individuals(values, scale="log", baseline=baseline).values
    assert left.chart.centre[0] == pytest.approx(plain.centre[0])
    usual = np.exp(np.log(expected[baseline]).mean())
    np.testing.assert_allclose(left.chart.values, values / expected * usual)
    np.testing.assert_allclose(
        adjusted(values, 7 * expected, scale="log", baseline=baseline).chart.values, left.chart.values
    )


def test_a_run_that_the_model_cannot_tell_is_a_gap():
    left = adjusted([1.0, 2.0, 3.0], [1.0, np.nan, 2.0])
    assert np.isnan(left.chart.values[1])


def test_shapes_must_agree():
    with pytest.raises(ValueError, match="expected must be 2 numbers, got 1"):
        adjusted([1.0, 2.0], [1.0])
