"""Do the examples in docstrings give what stands below them?"""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[1]
WITH_EXAMPLES = sorted(
    path.relative_to(HOUSE).with_suffix("").as_posix().replace("/", ".").removesuffix(".__init__")
    for room in ("analysis", "dashboard", "data_demo")
    for path in (HOUSE / room).rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_hold(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0


def test_there_are_examples() -> None:
    assert WITH_EXAMPLES
