"""Does a step of next to nothing leave the second derivative as it was?"""

import numpy as np
import pytest

from analysis.models.search import mended


@pytest.mark.parametrize(("moved", "changed"), [(1e-200, 1e200), (1e-310, 1.0), (0.0, 1.0)])
def test_a_step_of_next_to_nothing_tells_nothing(moved, changed):
    bend = np.array([[2.0]])
    assert mended(bend, np.array([moved]), np.array([changed])) == pytest.approx(bend)


def test_a_step_of_some_length_does():
    assert mended(np.array([[2.0]]), np.array([0.1]), np.array([0.3])) == pytest.approx(np.array([[3.0]]))
