"""Does a formula string do what it says?"""

import numpy as np
import pandas as pd
import pytest

from analysis.models import mixed, quoted
from analysis.models.formula import RandomTerm, parse_formula


@pytest.mark.parametrize(
    ("text", "fixed", "random"),
    [
        ("log(y) ~ x + C(recipe) + (1|batch)", "x + C(recipe)", [RandomTerm("1", ("batch",))]),
        ("y ~ (1|batch) + (1 | tank)", "1", [RandomTerm("1", ("batch",)), RandomTerm("1", ("tank",))]),
        ("y ~ 0 + x + (x || a:b)", "- 0 + x", [RandomTerm("x", ("a", "b"), correlated=False)]),
        ("y ~ x * (z + w) + (1|a/b)", "x * (z + w)", [RandomTerm("1", ("a",)), RandomTerm("1", ("a", "b"))]),
        ("y ~ `air | bled` + (0 + x|`cold hours`)", "`air | bled`", [RandomTerm("0 + x", ("cold hours",))]),
        ("y ~ I(x - 3) - 1", "I(x - 3) - 1", []),
    ],
)
def test_taken_apart(text, fixed, random):
    parsed = parse_formula(text)
    assert parsed.fixed == fixed.replace("- 0", "0")
    assert list(parsed.random) == random


@pytest.mark.parametrize(
    "text",
    ["y", "y ~", "y ~ x ~ z", "y ~ (x", "y ~ x:(1|g)", "y ~ x - (1|g)", "y ~ (1|g|h)", "y ~ (1|log(g))", "~ x"],
)
def test_misuse_is_told(text):
    with pytest.raises(ValueError, match=r"formula|random term"):
        parse_formula(text)


def test_any_column_name_can_be_quoted():
    frame = pd.DataFrame({"y": [1.0, 2.0, 4.0, 3.0], "air bled (min)": [0.0, 1.0, 2.0, 3.0]})
    fit = mixed(f"y ~ {quoted('air bled (min)')}", frame)
    assert fit.coefficients == pytest.approx(np.polyfit(frame["air bled (min)"], frame["y"], 1)[::-1])
    with pytest.raises(ValueError, match="backquote"):
        quoted("a`b")
