"""Are numbers and dates told as the house writes them?"""

from datetime import date

import pytest

from analysis.findings import wording


@pytest.mark.parametrize(
    ("value", "text"),
    [(94.4312, "94.4 µg/L"), (12345.6, "12,300 µg/L"), (0.00456, "0.00456 µg/L"), (999.6, "1,000 µg/L"), (0, "0 µg/L")],
)
def test_amounts_have_three_figures(value, text):
    assert wording.amount(value, "µg/L") == text


def test_changes_always_show_their_sign():
    assert wording.change(3.5, "EBC") == "+3.50 EBC"
    assert wording.change(-3.5, "EBC") == "−3.50 EBC"
    assert wording.percent(11.6) == "+12 %"
    assert wording.span(-1.2, 3.4, "µg/L") == "−1.20 to +3.40 µg/L"


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (-0.004986, 0.5142, "−0.005 to +0.514 points"),
        (-12.1, 1.84, "−12.1 to +1.8 points"),
        (-0.02, 12_345.0, "−0.02 to +12,300 points"),
        (0.0, 3.0, "0 to +3.00 points"),
        (-float("inf"), 3.0, "not known to +3.00 points"),
    ],
)
def test_the_end_of_an_interval_nearer_to_nothing_is_told_no_finer_than_the_other(low, high, text):
    assert wording.span(low, high, "points") == text


def test_what_is_not_a_number_is_said():
    assert wording.amount(float("nan"), "EBC") == "not known"


def test_ratio_in_percent():
    assert wording.percent_of_ratio(0.0) == 0
    assert wording.percent_of_ratio(0.6931471805599453) == pytest.approx(100)


def test_dates_counts_and_lists():
    assert wording.day(date(2026, 5, 12)) == "12 May 2026"
    assert wording.count(1, "batch", "batches") == "1 batch"
    assert wording.count(1200, "pack") == "1,200 packs"
    assert wording.listing([]) == ""
    assert wording.listing(["P40"]) == "P40"
    assert wording.listing(["P40", "I62", "S48"]) == "P40, I62 and S48"
    assert wording.listing(list("abcdefgh")) == "a, b, c, d, e, f and 2 more"


def test_one_day_is_no_span_of_days():
    assert wording.days_between(date(2026, 5, 2), date(2026, 5, 9)) == "between 2 May 2026 and 9 May 2026"
    assert wording.days_between(date(2026, 5, 2), date(2026, 5, 2)) == "to the day"
