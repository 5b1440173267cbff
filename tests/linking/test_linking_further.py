"""Do a brewery's own columns become practices of the right type, and is free text left alone?"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.linking import PackTable, link
from analysis.linking.further import round_step
from analysis.linking.further_cells import FurtherCells, NotOffered, further_cells


def _rows(header: str, cells: list[str | None]) -> pd.DataFrame:
    texts = [None if cell is None else json.dumps({header: cell}, ensure_ascii=False) for cell in cells]
    return pd.DataFrame({"extra": pd.Series(texts, dtype="str"), "file": "a.xlsx", "sheet": "S"})


def _only(header: str, cells: list[str | None]) -> FurtherCells | NotOffered:
    offered, refused = further_cells(_rows(header, cells))
    (one,) = (*offered, *refused)
    return one


@pytest.mark.parametrize(
    ("header", "cells", "flags"),
    [
        ("Air bled?", ["y", "n", "Y", None], [1, 0, 1, np.nan]),
        ("Air bled", ["yes", "No", "n/a", "TRUE"], [1, 0, np.nan, 1]),
        ("Wetted (y/n)", ["1", "1", None, "1"], [1, 1, np.nan, 1]),
        ("Wetted", ["1", "0", "1", "1"], [1, 0, 1, 1]),
        ("Leak seen", ["x", None, None, "X"], [1, 0, 0, 1]),
        ("Purged", ["✓", "✗", "✓", None], [1, 0, 1, 0]),
    ],
)
def test_yes_and_no(header: str, cells: list[str | None], flags: list[float]) -> None:
    found = _only(header, cells)
    assert isinstance(found, FurtherCells)
    assert found.type == "yes_no"
    np.testing.assert_array_equal(found.number, flags)


@pytest.mark.parametrize(
    ("header", "cells", "numbers", "unit"),
    [
        ("Pressure [bar]", ["1.2", "0.8", None], [1.2, 0.8, np.nan], "bar"),
        ("Flow", ["12 hL/h", "14 hL/h", "9.5 hL/h"], [12, 14, 9.5], "hL/h"),
        ("Counts", ["1,250", "980", "12,000"], [1250, 980, 12000], ""),
        ("Ratio", ["0,125", "1,5", "2"], [0.125, 1.5, 2], ""),
        ("Generation", ["1", "1", "1"], [1, 1, 1], ""),
        ("Offset", ["-1.5", "+2", "-"], [-1.5, 2, np.nan], ""),
    ],
)
def test_numbers(header: str, cells: list[str | None], numbers: list[float], unit: str) -> None:
    found = _only(header, cells)
    assert isinstance(found, FurtherCells)
    assert (found.type, found.unit) == ("number", unit)
    np.testing.assert_array_equal(found.number, numbers)


def test_a_stray_word_among_numbers_is_left_out_and_counted() -> None:
    found = _only("Flow", ["1", "2"] * 10 + ["about six"])
    assert isinstance(found, FurtherCells)
    assert (found.type, found.left_out) == ("number", 1)
    assert np.isnan(found.number[-1])


def test_categories_take_one_spelling() -> None:
    found = _only("Brewer", ["AB", "ab", "AB", "CD", "CD", None])
    assert isinstance(found, FurtherCells)
    assert found.type == "category"
    assert found.word.fillna("").tolist() == ["AB", "AB", "AB", "CD", "CD", ""]


@pytest.mark.parametrize(
    "cells",
    [
        [f"note {i} about the day" for i in range(50)],
        ["a", "b", "c"],
        ["the same long sentence that somebody copied down every day"] * 6,
        [f"2026-05-{d:02d}" for d in range(1, 29)],
        ["-", "n/a", "?"],
        ["3 bar", "4 psi", "3 bar"],
    ],
)
def test_free_text_is_not_offered(cells: list[str | None]) -> None:
    found = _only("Note", cells)
    assert isinstance(found, NotOffered)
    assert found.reason


def test_headers_that_differ_only_in_writing_are_one_column() -> None:
    texts = ['{"Air bled?": "y"}', '{"air bled": "n"}', '{"AIR BLED": "y", "Other": "3"}']
    rows = pd.DataFrame({"extra": pd.Series(texts, dtype="str"), "file": "a.xlsx", "sheet": "S"})
    offered, _ = further_cells(rows)
    assert [(c.name, c.type) for c in offered] == [("air_bled", "yes_no"), ("other", "number")]


@pytest.mark.parametrize(("spread", "step"), [(0.9, 1.0), (1.6, 2.0), (0.034, 0.05), (430.0, 500.0), (0.0, 500.0)])
def test_the_step_is_a_round_figure_near_the_spread_within_recipes(spread: float, step: float) -> None:
    levels = np.repeat([0.0, 1000.0], 50)
    values = levels + spread * np.tile([-1.0, 1.0], 50)
    assert round_step(values, pd.Series(np.repeat(["P40", "I62"], 50))) == step


def test_the_step_of_what_never_varies_is_one() -> None:
    assert round_step(np.full(5, 7.0), pd.Series(["P40"] * 5)) == 1.0
    assert round_step(np.full(5, np.nan), pd.Series(["P40"] * 5)) == 1.0
    assert round_step(np.array([0.3]), pd.Series(["P40"])) == 1.0


def _cellar(cellar: Any, **changes: list[dict[str, Any]]) -> PackTable:
    kinds: dict[str, list[dict[str, Any]]] = {
        "batches": [
            {"batch": "1", "recipe": "P40", "brewed_on": "2026-05-01", "volume": 30.0, "extra": '{"Pitch": "10"}'},
            {"batch": "2", "recipe": "P40", "brewed_on": "2026-05-01", "volume": 10.0, "extra": '{"Pitch": "20"}'},
        ],
        "pack_runs": [
            {"run": "R1", "batch": "1", "packed_at": "2026-05-30", "extra": '{"Seamer": "S1", "From tank": "bt 2"}'},
            {"run": "R2", "batch": "1+2", "packed_at": "2026-05-30", "extra": '{"Seamer": "S1"}'},
        ],
        "readings": [
            {"run": r, "stage": "pack", "sample": s, "measured_at": "2026-06-02", "quantity": "haze", "value": 1.0}
            for r in ("R1", "R2")
            for s in ("1", "2")
        ],
        "operations": [
            {"batch": b, "operation": "rouse", "started_at": at, "minutes": 10.0, "extra": extra}
            for b, at, extra in (
                ("1", "2026-05-10", '{"Air bled?": "y", "Flow": "10"}'),
                ("1", "2026-05-11", '{"Air bled?": "n", "Flow": "20"}'),
                ("1", "2026-05-12", '{"Air bled?": null}'),
                ("2", "2026-05-10", '{"Air bled?": "n", "Flow": "40"}'),
                ("2", "2026-06-20", '{"Air bled?": "y", "Flow": "99", "Late": "y"}'),
            )
        ],
    }
    return link(cellar(**{**kinds, **changes}))


def test_every_kind_reaches_the_pack_table(cellar: Any) -> None:
    table = _cellar(cellar)
    rows = table.rows.drop_duplicates("run").set_index("run")
    assert rows["air_bled"].to_dict() == pytest.approx({"R1": 0.5, "R2": 0.75 * 0.5})
    assert rows["flow"].to_dict() == pytest.approx({"R1": 15.0, "R2": 0.75 * 15 + 0.25 * 40})
    assert rows["pitch"].to_dict() == pytest.approx({"R1": 10.0, "R2": 12.5})
    assert rows["seamer"].tolist() == ["S1", "S1"]
    kinds = {p.name: (p.type, p.source, p.label) for p in table.practices}
    assert kinds["air_bled"] == ("yes_no", "operations", "Air bled?")
    assert kinds["pitch"] == ("number", "batches", "Pitch")
    assert kinds["seamer"] == ("category", "pack_runs", "Seamer")
    assert {p.name for p in table.practices} <= set(table.rows.columns) & set(table.tastings.columns)


def test_a_column_of_work_after_packing_is_no_practice(cellar: Any) -> None:
    assert "late" not in _cellar(cellar).rows.columns


def test_the_packaging_sheet_says_from_which_tank(cellar: Any) -> None:
    table = _cellar(cellar)
    rows = table.rows.drop_duplicates("run").set_index("run")
    assert rows["tank"].to_dict()["R1"] == "BT2"
    assert "from_tank" not in rows.columns


def test_a_sample_says_more_than_its_run(cellar: Any) -> None:
    readings = [
        {
            "run": "R1",
            "stage": "pack",
            "sample": s,
            "measured_at": "2026-06-02",
            "quantity": "haze",
            "value": 1.0,
            "extra": extra,
        }
        for s, extra in (("1", '{"Seamer": "S2", "Head": "1"}'), ("2", '{"Seamer": "S2", "Head": "4"}'), ("3", None))
    ]
    table = _cellar(cellar, readings=readings)
    rows = table.rows.set_index("sample")
    assert rows["seamer"].to_dict() == {"1": "S2", "2": "S2", "3": "S1"}
    assert rows["head"].to_dict() == pytest.approx({"1": 1.0, "2": 4.0, "3": 2.5})
    assert [p.name for p in table.practices].count("seamer") == 1


def test_a_name_that_is_taken_has_its_kind_behind_it(cellar: Any) -> None:
    runs = [{"run": "R1", "batch": "1", "packed_at": "2026-05-30", "extra": '{"Haze": "3", "Flow": "7", "Batch": "9"}'}]
    table = _cellar(cellar, pack_runs=runs)
    assert {"haze_pack_runs", "batch_pack_runs", "flow", "flow_operations"} <= {p.name for p in table.practices}
    assert table.rows["flow"].tolist() == [7.0, 7.0]
    assert table.rows["haze"].tolist() == [1.0, 1.0]


def test_free_text_is_named_as_not_offered(cellar: Any) -> None:
    runs = [
        {"run": f"R{i}", "batch": "1", "packed_at": "2026-05-30", "extra": json.dumps({"Remark": f"saw {i} of them"})}
        for i in range(30)
    ]
    table = _cellar(cellar, pack_runs=runs)
    assert table.not_offered[["name", "kind"]].to_numpy().tolist() == [["remark", "pack_runs"]]
    assert "remark" not in table.rows.columns
