"""Are the rows that bare columns make without a frame those that pandas and formulaic make of them?"""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models import (
    CannotFitError,
    accumulate,
    adjusted_means,
    contrast,
    fit_sums,
    leave_one_out,
    level_effects,
    mixed,
    row_fit,
)
from analysis.models.arrow_batches import batches
from analysis.models.arrow_rows import rows_of_bare_columns
from analysis.models.cross_products import Accumulator, CrossProducts
from analysis.models.frame_rows import rows_of_chunks

TEXT_TYPES = (
    pa.string(),
    pa.large_string(),
    pa.dictionary(pa.int8(), pa.string()),
    pa.dictionary(pa.int32(), pa.large_string()),
)
WHOLE_TYPES = (pa.int8(), pa.int64(), pa.uint16())
FLOAT_TYPES = (pa.float32(), pa.float64())
WORDS = ("b", "a", "10", "9", "", "T.a", "[x]", "ä", "µg/L")


def added_up(read) -> CrossProducts:
    design, parts = read
    accumulator = Accumulator(design)
    for rows in parts:
        accumulator.add_rows(rows)
    return accumulator.result()


def without_a_frame(formula, source, rows=50_000) -> CrossProducts:
    read = rows_of_bare_columns(formula, source, rows)
    assert read is not None
    return added_up(read)


def with_a_frame(formula, source, rows=50_000) -> CrossProducts:
    return added_up(rows_of_chunks(formula, source, None, rows))


def assert_same(one: CrossProducts, other: CrossProducts) -> None:
    assert one.design.names == other.design.names
    assert one.design.fixed == other.design.fixed
    assert one.design.factors == other.design.factors
    assert one.design.variables == other.design.variables
    assert one.design.levels.items() <= other.design.levels.items()  # a frame of Arrow's keeps those of groups too
    assert (one.rows, one.missing, one.labels) == (other.rows, other.missing, other.labels)
    for mine, its in ((one.shift, other.shift), (one.dense, other.dense)):
        np.testing.assert_allclose(mine, its, rtol=1e-12, atol=1e-12)
    for mine, its in zip(one.own + one.with_dense, other.own + other.with_dense, strict=True):
        np.testing.assert_allclose(mine, its, rtol=1e-12, atol=1e-12)
    assert one.pairs.keys() == other.pairs.keys()
    for key, pair in one.pairs.items():
        np.testing.assert_array_equal(pair.toarray(), other.pairs[key].toarray())


@st.composite
def columns(draw, rows: int) -> dict[str, pa.Array]:
    """A response, numbers, text and groups with values missing, null or not a number, of several Arrow types."""

    def drawn(values, kind):
        return pa.array(draw(st.lists(st.none() | values, min_size=rows, max_size=rows)), draw(st.sampled_from(kind)))

    number = st.floats(-8, 8, width=32) | st.just(float("nan"))
    whole = st.integers(0, 5)
    words = [st.sampled_from(draw(st.lists(st.sampled_from(WORDS), min_size=1, unique=True))) for _ in range(4)]
    return {
        "y": drawn(number, FLOAT_TYPES) if draw(st.booleans()) else drawn(whole, WHOLE_TYPES),
        "x": drawn(number, FLOAT_TYPES),
        "n": drawn(whole, WHOLE_TYPES),
        "kind": drawn(words[0], TEXT_TYPES[:2]),
        "where": drawn(words[1], TEXT_TYPES[:2]),
        "batch": drawn(words[2], TEXT_TYPES),
        "tank": drawn(words[3], TEXT_TYPES),
        "run": drawn(whole, WHOLE_TYPES),
    }


@st.composite
def formulas(draw) -> str:
    fixed = draw(st.lists(st.sampled_from(["x", "n", "kind", "where", "x"]), max_size=4))
    constant = draw(st.sampled_from(["", "1", "0", "-1"]))
    terms = [constant, *fixed] if constant and draw(st.booleans()) else [*fixed, constant]
    groups = ["batch", "tank", "run", "kind", "batch:tank", "batch/run"]
    random = draw(st.lists(st.sampled_from(groups), max_size=3, unique=True))
    if {"batch", "batch/run"} <= set(random):
        random.remove("batch")
    right = " + ".join([*(term for term in terms if term), *(f"(1|{group})" for group in random)]) or "1"
    return "y ~ " + right.replace("+ -1", "- 1")


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_table_adds_up_to_what_its_frame_does(data):
    rows = data.draw(st.integers(0, 25))
    table = pa.table(data.draw(columns(rows)))
    cuts = sorted(data.draw(st.sets(st.integers(0, rows), max_size=2)))
    edges = zip([0, *cuts], [*cuts, rows], strict=True)
    table = pa.concat_tables([table.slice(start, stop - start) for start, stop in edges])
    formula, at_once = data.draw(formulas()), data.draw(st.integers(1, 30))
    try:
        expected = with_a_frame(formula, table, at_once)
    except CannotFitError as refusal:
        with pytest.raises(CannotFitError) as own:
            without_a_frame(formula, table, at_once)
        assert str(own.value) == str(refusal)
    else:
        assert_same(without_a_frame(formula, table, at_once), expected)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_parquet_file_adds_up_to_what_its_frame_does(tmp_path_factory, data):
    table = pa.table(data.draw(columns(25)))
    path = tmp_path_factory.mktemp("parquet") / "rows.parquet"
    coded = data.draw(st.booleans())
    pq.write_table(table, path, use_dictionary=coded)
    formula = data.draw(formulas())
    try:
        expected = with_a_frame(formula, path)
    except CannotFitError:
        with pytest.raises(CannotFitError, match="no row has all of"):
            without_a_frame(formula, path)
    else:
        assert_same(without_a_frame(formula, path), expected)


def packs(rows=400, seed=5) -> pa.Table:
    """Packs of batches in tanks, each batch of one recipe; later rows bring recipes and batches that earlier lack."""
    rng = np.random.default_rng(seed)
    batch = np.sort(rng.integers(0, 40, rows))
    frame = pd.DataFrame({"batch": [f"B{each}" for each in batch], "x": rng.normal(size=rows)})
    frame["recipe"] = np.array(["S51", "P40", "I62"])[batch // 14]
    frame["tank"] = rng.integers(0, 7, rows)
    effects = rng.normal(size=40)[batch] + rng.normal(size=7)[frame["tank"]]
    frame["y"] = 2.0 + 0.4 * frame["x"] + effects + rng.normal(size=rows)
    return pa.Table.from_pandas(frame)


FORMULA = "y ~ x + recipe + (1|batch) + (1|tank)"


def test_row_groups_of_a_file_with_levels_of_their_own(tmp_path):
    table, path = packs(), tmp_path / "rows.parquet"
    pq.write_table(table, path, row_group_size=90)
    whole = mixed(FORMULA, table.to_pandas())
    for rows in (37, 90, 250, 50_000):
        fit = fit_sums(without_a_frame(FORMULA, str(path), rows))
        assert fit.names == whole.names
        assert fit.deviance == pytest.approx(whole.deviance, abs=1e-8)
        assert fit.coefficients == pytest.approx(whole.coefficients, rel=1e-7)
        assert fit.sums.labels == whole.sums.labels


def test_a_batch_of_a_table_and_a_table_of_many_batches():
    table = packs()
    batch = table.combine_chunks().to_batches()[0]
    several = pa.Table.from_batches([batch.slice(at, 50) for at in range(0, len(batch), 50)])
    assert_same(without_a_frame(FORMULA, batch), with_a_frame(FORMULA, table.to_pandas()))
    assert_same(without_a_frame(FORMULA, several), with_a_frame(FORMULA, several))


def test_what_is_asked_of_a_fit_afterwards_is_the_same():
    frame = packs().to_pandas()
    bare, whole = fit_sums(accumulate(FORMULA, packs())), mixed(FORMULA, frame)
    assert bare.sums.design.spec is None
    assert contrast(bare, "x").df == pytest.approx(contrast(whole, "x").df, rel=1e-6)
    assert row_fit(bare, frame).fitted == pytest.approx(row_fit(whole, frame).fitted, abs=1e-8)
    for one, other in zip(level_effects(bare), level_effects(whole), strict=True):
        assert (one.group, one.levels) == (other.group, other.levels)
        assert one.values == pytest.approx(other.values, abs=1e-8)
    means = (adjusted_means(fit, frame, "recipe") for fit in (bare, whole))
    for one, other in zip(*means, strict=True):
        assert one.level == other.level
        assert one.mean.value == pytest.approx(other.mean.value, abs=1e-8)
    left, its = leave_one_out(bare, frame, "tank"), leave_one_out(whole, frame, "tank")
    assert left.coefficients == pytest.approx(its.coefficients, abs=1e-7)
    assert accumulate(bare.sums.design, frame).dense == pytest.approx(whole.sums.dense, rel=1e-12)


def test_a_level_that_the_design_does_not_know_is_refused():
    design = accumulate(FORMULA, packs().slice(0, 200)).design
    with pytest.raises(ValueError, match="levels of recipe must be known before rows are added up, got also I62"):
        design.rows(packs().to_pandas())
    with pytest.raises(ValueError, match="levels of recipe must be known before rows are added up, got also I62, S51"):
        accumulate(FORMULA, packs(), levels={"recipe": ["P40"]})


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"x": np.inf}, r"every value of the model must be finite; not so: x \(400 rows\)"),
        ({"y": -np.inf}, r"every value of the model must be finite; not so: y \(400 rows\)"),
        ({"x": np.nan}, "no row has all of batch, recipe, tank, x, y"),
        ({"recipe": None}, "no row has all of batch, recipe, tank, x, y"),
    ],
)
def test_refusals_are_those_of_a_frame(changed, words):
    frame = packs().to_pandas().assign(**changed)
    for source in (frame, pa.Table.from_pandas(frame)):
        with pytest.raises(ValueError, match=words):
            accumulate(FORMULA, source)


def test_rows_before_the_first_complete_one_are_counted():
    frame = packs().to_pandas()
    frame.loc[:119, "x"] = np.nan
    table = pa.Table.from_pandas(frame)
    for sums in (without_a_frame(FORMULA, table, 50), with_a_frame(FORMULA, table, 50)):
        assert (sums.rows, sums.missing) == (280, 120)


@pytest.mark.parametrize(
    "formula",
    [
        "log(y) ~ x",
        "y ~ x:recipe",
        "y ~ C(tank)",
        "y ~ x - recipe",
        "y ~ `x`",
        "y ~ y",
        "y ~ x + (x|batch)",
        "y ~ x + (1|batch) + (1|batch)",
        "y ~ x + hops",
        "y ~ good",
        "y ~ day",
        "recipe ~ x",
        "y ~ x + (1|x)",
        "y ~ whole",
        "y ~ coded",
        "y ~ x + Intercept",
    ],
)
def test_whatever_else_is_asked_is_for_a_frame(formula):
    frame = packs().to_pandas().assign(good=True, day=pd.Timestamp("2026-05-01"), Intercept=1.0)
    frame["whole"], frame["coded"] = frame["tank"].astype("category"), frame["recipe"].astype("category")
    assert rows_of_bare_columns(formula, pa.Table.from_pandas(frame), 100) is None


def test_a_frame_s_index_and_names_that_stand_twice_are_for_a_frame():
    table = packs()
    indexed = pa.Table.from_pandas(table.to_pandas().set_index("x"))
    assert rows_of_bare_columns(FORMULA, indexed, 100) is None
    assert rows_of_bare_columns(FORMULA, table.append_column("x", table["y"]), 100) is None
    with pytest.raises(ValueError, match="lacks x"):
        accumulate(FORMULA, indexed)


def test_dictionaries_that_hold_a_value_twice_or_none_or_unused():
    plain = pa.table({"y": [1.0, 2.0, 4.0, 3.0, 5.0], "k": ["b", None, "a", "b", "a"]})
    codes = pa.DictionaryArray.from_arrays(pa.array([0, 1, 2, 3, 2]), pa.array(["b", None, "a", "b", "unused"]))
    coded = pa.table({"y": plain["y"], "k": codes})
    assert_same(without_a_frame("y ~ 1 + (1|k)", coded), with_a_frame("y ~ 1 + (1|k)", plain))


def test_reading_leaves_the_process_its_own_pool(tmp_path):
    """While the next batch is read the system's is taken, and given back also where a row is refused."""
    own = pa.default_memory_pool().backend_name
    pq.write_table(packs(), tmp_path / "rows.parquet")
    parts = batches(tmp_path / "rows.parquet", ["y"], 100)
    next(parts)
    assert pa.default_memory_pool().backend_name == own
    pq.write_table(pa.Table.from_pandas(packs().to_pandas().assign(x=np.inf)), tmp_path / "rows.parquet")
    with pytest.raises(ValueError, match="must be finite"):
        accumulate(FORMULA, tmp_path / "rows.parquet")
    assert pa.default_memory_pool().backend_name == own


_FIT = """
import sys
from analysis.models import accumulate, fit_sums
print(fit_sums(accumulate(sys.argv[1], sys.argv[2])).deviance)
print(*sorted({"pandas", "formulaic", "scipy.optimize", "scipy.special"} & set(sys.modules)))
"""


def test_bare_columns_of_a_file_load_neither_pandas_nor_formulaic(tmp_path):
    pq.write_table(packs(), tmp_path / "rows.parquet")
    command = [sys.executable, "-c", _FIT, FORMULA, str(tmp_path / "rows.parquet")]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split("\n")
    assert float(told[0]) == pytest.approx(mixed(FORMULA, packs().to_pandas()).deviance, abs=1e-8)
    assert told[1] == ""
