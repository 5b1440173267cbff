"""Does linking give the invented brewery's practices, which were worked out by plain loops over its simulated jobs?

The demo's ``as_packed`` shares no code with linking: it reads the jobs as they were done, linking what hands wrote.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.ledger import Snapshot
from analysis.linking import PackTable, link
from analysis.records.intake import SourceFile, take_in
from data_demo import run_frame, simulate
from data_demo.as_packed import PRACTICES
from data_demo.workbooks import write_workbooks

_WRITTEN_TO = 0.02
"""Doses and volumes stand in the books to two or three figures."""


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> PackTable:
    paths: tuple[Path, ...] = write_workbooks(tmp_path_factory.mktemp("books"))
    intake = take_in([SourceFile(path, path.name) for path in paths])
    return link(Snapshot.of(dict(intake.records)))


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return run_frame(simulate()).set_index("run")


@pytest.fixture(scope="module")
def runs(table: PackTable, truth: pd.DataFrame) -> pd.DataFrame:
    return table.rows.drop_duplicates("run").set_index("run").reindex(truth.index)


@pytest.mark.parametrize("practice", PRACTICES)
def test_every_practice_of_every_run(runs: pd.DataFrame, truth: pd.DataFrame, practice: str) -> None:
    true = truth[practice]
    if practice == "dry_hop_days":
        true = true.fillna(0.0)  # the house's rule: nothing on record beside a log is 0, and so are days on no hops
    np.testing.assert_allclose(runs[practice], true, rtol=1e-3, atol=_WRITTEN_TO)
    assert true.notna().any()


@pytest.mark.parametrize("name", ["batch", "recipe", "format", "line"])
def test_what_every_run_was(runs: pd.DataFrame, truth: pd.DataFrame, name: str) -> None:
    assert runs[name].tolist() == truth[name].tolist()


def test_numbers_that_began_again_in_january_are_kept_apart(runs: pd.DataFrame) -> None:
    again = runs["batch"].str.fullmatch(r"\d+ \(\d{4}\)")
    assert again.sum() > 50
    assert (runs.loc[again, "batch"].str[-5:-1].astype(int) - runs.loc[again, "packed_at"].dt.year).isin([0, -1]).all()


def test_nothing_is_left_unlinked(table: PackTable) -> None:
    beside = table.unlinked["reason"].str.contains("total oxygen not computed|contradicts another row")
    assert table.unlinked[~beside].empty
