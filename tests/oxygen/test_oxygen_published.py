"""Does the oxygen room give the published figures?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from analysis import oxygen

_PUBLISHED = sorted((Path(__file__).parents[1] / "published").glob("oxygen_*.json"))


def _cases() -> list[Any]:
    found = []
    for path in _PUBLISHED:
        document = json.loads(path.read_text(encoding="utf-8"))
        for case in document["cases"]:
            name = ",".join(f"{key}={value}" for key, value in case["inputs"].items())
            found.append(pytest.param(document, case, id=f"{path.stem}:{name}"))
    return found


def test_published_files_are_found() -> None:
    assert len(_PUBLISHED) >= 4
    for path in _PUBLISHED:
        document = json.loads(path.read_text(encoding="utf-8"))
        assert document["source"], path
        assert document["why_tolerance"], path
        assert document["cases"], path


@pytest.mark.parametrize(("document", "case"), _cases())
def test_published_value(document: dict[str, Any], case: dict[str, Any]) -> None:
    got = float(getattr(oxygen, document["function"])(**case["inputs"]))
    wanted = pytest.approx(case["output"], abs=document.get("tolerance"), rel=document.get("relative_tolerance"))
    assert got == wanted, document["source"]
