"""Does the haze room give the published figures?"""

import json
from pathlib import Path

import pytest

from analysis import haze
from analysis.haze import ASBC_FTU_PER_EBC, CLASSES, NTU_PER_EBC, haze_class
from analysis.units import convert

_PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "haze_values.json").read_text("utf-8"))


@pytest.mark.parametrize("case", _PUBLISHED["cases"], ids=lambda case: f"{case['function']}-{case['inputs']}")
def test_published_value(case):
    got = float(getattr(haze, case["function"])(**case["inputs"]))
    assert got == pytest.approx(case["output"], abs=case["tolerance"]), case["source"]


@pytest.mark.parametrize("row", _PUBLISHED["classes"]["rows"], ids=lambda row: row["name"])
def test_published_class(row):
    """The limits in every unit, by the room's own ratios and by what intake takes a unit for."""
    low, high = row["ebc"]
    assert haze_class(low).name == row["name"]
    assert haze_class(1000 if high is None else high - 1e-9).name == row["name"]
    for unit, limits, ratio in (("NTU", row["ntu"], NTU_PER_EBC), ("ASBC FTU", row["asbc_ftu"], ASBC_FTU_PER_EBC)):
        for limit, ebc in zip(limits, row["ebc"], strict=True):
            if limit is not None:
                assert limit == pytest.approx(ebc * ratio)
                assert convert(limit, unit, "haze") == pytest.approx(ebc)


def test_the_classes_leave_no_gap():
    assert [each.lower for each in CLASSES[1:]] == [each.upper for each in CLASSES[:-1]]
    assert len(CLASSES) == len(_PUBLISHED["classes"]["rows"])
