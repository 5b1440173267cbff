"""Invented breweries with a stated truth, written as small breweries keep sheets, and the way from file to answer.

Every brewery goes through the command line alone. Each test module states what is true of its brewery at its top.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dashboard.commands import main

Document = dict[str, Any]


@dataclass(frozen=True)
class Told:
    """What one command came to: its exit code, its document and what it said to the person."""

    code: int
    document: Document
    said: str

    def verdicts(self) -> dict[str, str]:
        """The verdict on each practice."""
        return {row["practice"]: row["verdict"] for row in self.document["practices"]}

    def not_assessed(self) -> dict[str, str]:
        """Why nothing is said of the others."""
        return {row["practice"]: row["reason"] for row in self.document["not_assessed"]}


@dataclass(frozen=True)
class Brewery:
    """Batches with what was done to them, and a row for each pack that was read."""

    batches: pd.DataFrame
    packs: pd.DataFrame

    @property
    def beside_packs(self) -> pd.DataFrame:
        """Each pack with its batch's columns."""
        return self.packs.merge(self.batches, on="batch")


def _brew(
    seed: int,
    batches: int = 60,
    packs: int = 3,
    level: float = 60.0,
    recipes: tuple[str, ...] = ("A10", "B20", "C30"),
    effects: Mapping[str, float] | None = None,
    pack_spread: float = 0.12,
    raised_from: tuple[int, float] | None = None,
    gap: int = 4,
) -> Brewery:
    """Draw a brewery.

    ``effects`` are those of one step on the log of a pack's total oxygen: ``bled`` (yes or no), ``rouses`` (one more),
    ``dose`` (50 mL/hL more). Batches differ by 12 % and recipes by 12 %, and a batch is brewed every ``gap`` days;
    ``raised_from`` raises all from one batch on.
    """
    draw, steps = np.random.default_rng(seed), dict(effects or {})
    recipe = draw.integers(0, len(recipes), batches)
    made = pd.DataFrame(
        {
            "batch": [str(1001 + i) for i in range(batches)],
            "recipe": np.array(recipes, dtype=object)[recipe],
            "brewed": pd.Timestamp("2025-01-06") + pd.to_timedelta(gap * np.arange(batches), unit="D"),
            "volume": np.round(draw.normal(25, 2, batches), 1),
            "tank": [f"FV{1 + i % 4}" for i in range(batches)],
            "bled": draw.random(batches) < 0.5,
            "rouses": draw.integers(0, 4, batches),
            "dose": draw.choice([0.0, 50.0, 100.0, 150.0], batches),
        }
    )
    made["packed"] = made["brewed"] + pd.to_timedelta(draw.integers(16, 22, batches) * 24 + 9, unit="h")
    log = np.log(level) + 0.12 * recipe + draw.normal(0, 0.12, batches)
    steps_taken = {"bled": made["bled"].astype(float), "rouses": made["rouses"], "dose": made["dose"] / 50}
    log = log + sum(steps.get(name, 0.0) * taken for name, taken in steps_taken.items())
    if raised_from is not None:
        log = log + np.where(np.arange(batches) >= raised_from[0], raised_from[1], 0.0)
    of = np.repeat(np.arange(batches), packs)
    oxygen = np.exp(np.asarray(log)[of] + draw.normal(0, pack_spread, len(of)))
    read = pd.DataFrame({"batch": made["batch"].to_numpy()[of], "can": np.tile(np.arange(1, packs + 1), batches)})
    return Brewery(made, read.assign(oxygen=oxygen))


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Told]]:
    """Run a command on the module's own ledger."""
    folder = tmp_path_factory.mktemp("ledger")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))

        def run(*words: object) -> Told:
            command = [*map(str, words), "--json", "--ledger", f"sqlite:///{folder / 'ledger.sqlite'}"]
            result = CliRunner().invoke(main, command)
            assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
            assert "Something went wrong" not in result.stderr
            return Told(result.exit_code, json.loads(result.stdout) if result.stdout else {}, result.stderr)

        yield run


@pytest.fixture(scope="module")
def write(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Write sheets as a workbook, or one table as text."""
    folder = tmp_path_factory.mktemp("sheets")

    def book(name: str, sheets: Mapping[str, pd.DataFrame] | pd.DataFrame, **text: Any) -> Path:
        path = folder / name
        if isinstance(sheets, pd.DataFrame):
            sheets.to_csv(path, index=False, **text)
            return path
        with pd.ExcelWriter(path, engine="xlsxwriter") as workbook:
            for sheet, frame in sheets.items():
                frame.to_excel(workbook, sheet_name=sheet, index=False)
        return path

    return book


def _sheets_of(intake: Told) -> list[Document]:
    """Return every sheet of an intake, each of which must account for all of its rows."""
    sheets = [sheet for file in intake.document["files"] for sheet in file["sheets"]]
    for sheet in sheets:
        assert sheet["rows"] == sheet["accepted"] + sheet["rejected"] + sheet["ignored"], sheet["sheet"]
    return sheets


@pytest.fixture(scope="session")
def brew() -> Callable[..., Brewery]:
    """Draw a brewery with stated effects."""
    return _brew


@pytest.fixture(scope="session")
def sheets_of() -> Callable[[Told], list[Document]]:
    """The sheets of an intake, each held to account for all of its rows."""
    return _sheets_of
