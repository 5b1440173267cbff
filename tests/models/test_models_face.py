"""Is every public name of the room what it says, whichever module is loaded first?"""

import importlib
import pkgutil
from types import ModuleType

import pytest

from analysis import models

NAMES = [name for name in models.__all__ if name != "frame_rows"]


@pytest.fixture(autouse=True)
def every_module_loaded():
    for module in pkgutil.iter_modules(models.__path__):
        importlib.import_module(f"analysis.models.{module.name}")


@pytest.mark.parametrize("name", NAMES)
def test_a_public_name_is_no_module(name):
    """Some functions stand in a module of their name."""
    assert callable(getattr(models, name))
    assert not isinstance(getattr(models, name), ModuleType)
    assert getattr(models, name).__module__.startswith("analysis.models.")
