"""Does a design find the wanted shift in the wanted time, and cost no more false alarms than asked?"""

import math

import pytest

from analysis.charts import chart_designs, cusum_run_length, ewma_run_length, smallest_shift_found

# A rise of 30 % in oxygen, run-to-run spread 0.2 on the log scale, two runs a week, one false alarm a year.
RISE, A_YEAR = math.log(1.3) / 0.2, 104.0


def run_length_of(design, shift):
    if design.kind == "cusum":
        return cusum_run_length(design.allowance, design.bound, shift)
    return ewma_run_length(1.0 if design.kind == "individuals" else design.weight, design.width, shift)


def test_every_design_has_the_wanted_false_alarms_and_the_stated_delay():
    for design in chart_designs(RISE, A_YEAR, 5):
        assert run_length_of(design, 0.0) == pytest.approx(A_YEAR, rel=1e-4)
        assert run_length_of(design, RISE) == pytest.approx(design.delay)


def test_a_thirty_percent_rise_within_five_runs_at_one_alarm_a_year():
    designs = chart_designs(RISE, A_YEAR, 5)
    assert [design.kind for design in designs] == ["ewma", "cusum", "individuals"]
    assert [design.in_time for design in designs] == [True, True, False]


def test_a_large_shift_wants_no_memory():
    assert chart_designs(5.0, 370.4, 2)[0].delay < 1.05
    small = {design.kind: design.delay for design in chart_designs(0.5, 370.4, 40)}
    assert small["individuals"] > 4 * small["cusum"]


@pytest.mark.parametrize(("in_control", "within"), [(104, 5), (370.4, 2), (370.4, 30)])
def test_the_smallest_shift_is_found_just_in_time(in_control, within):
    shift = smallest_shift_found(in_control, within)
    assert chart_designs(shift, in_control, within)[0].delay == pytest.approx(within, rel=0.01)
    assert not any(design.in_time for design in chart_designs(0.9 * shift, in_control, within))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: chart_designs(0, 100, 5), "shift must be above 0"),
        (lambda: chart_designs(1, 1, 5), "in_control must be above 1"),
        (lambda: chart_designs(1, 100, 0), "within must be at least 1"),
        (lambda: smallest_shift_found(100, 1), "within must be above 1"),
    ],
)
def test_misuse(make, said):
    with pytest.raises(ValueError, match=said):
        make()
