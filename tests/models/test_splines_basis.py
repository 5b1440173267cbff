"""Is the restricted cubic basis Harrell's?"""

import numpy as np
import pytest

from analysis.models.splines import restricted_cubic_basis

KNOTS = (1, 3.5, 6.5, 9)


def test_basis_at_two_points():
    # Harrell 2015, Regression Modeling Strategies, equation 2.25, worked out by hand for these knots
    basis = restricted_cubic_basis([5.0, 10.0], KNOTS)
    assert basis[:, 1:].ravel() == pytest.approx([1.0, 0.052734375, 9.28125, 2.8359375])
    assert basis[:, 0].tolist() == [5.0, 10.0]


def test_it_is_straight_beyond_the_outer_knots():
    beyond = restricted_cubic_basis(np.array([-3.0, -2.0, -1.0, 11.0, 12.0, 13.0]), KNOTS)
    assert np.diff(beyond[:3], n=2, axis=0) == pytest.approx(0, abs=1e-12)
    assert np.diff(beyond[3:], n=2, axis=0) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("knots", [(1, 2), (1, 1, 2), (3, 2, 1)])
def test_knots_that_do_not_rise_are_refused(knots):
    with pytest.raises(ValueError, match="must be at least three"):
        restricted_cubic_basis([1.0], knots)
