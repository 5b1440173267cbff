"""Which small invented cellar do the dashboard's tests look at?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from dash import Dash
from dash._callback_context import context_value
from dash._utils import AttributeDict

from analysis.ledger import Ledger, Snapshot
from analysis.linking import PackTable, link
from dashboard.app import create_app
from dashboard.settings import Settings

RECIPES = ("P40", "I62")
BATCHES = 24
PER_RUN = 3


@pytest.fixture(scope="session")
def table() -> PackTable:
    """Two recipes in cans, a dozen batches each; the oxygen of P40 rises for good after its eighth batch."""
    return link(Snapshot.of(_frames(), state=5))


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """A ledger with nothing on it."""
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


@pytest.fixture
def app(ledger: Ledger, tmp_path: Path) -> Dash:
    """The dashboard on the empty ledger."""
    return create_app(ledger, Settings(staging=tmp_path / "waiting", upload_limit=1_000))


@pytest.fixture
def on_table(app: Dash, table: PackTable, monkeypatch: pytest.MonkeyPatch) -> Iterator[Dash]:
    """The dashboard, answering a request, as if the small cellar were on its ledger."""
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: table)
    with app.server.test_request_context("/"):
        yield app


@pytest.fixture
def triggered() -> Iterator[Callable[[str], None]]:
    """Say which property a callback was called for, as Dash says it."""
    tokens = []

    def say(prop_id: str) -> None:
        tokens.append(context_value.set(AttributeDict(triggered_inputs=[{"prop_id": prop_id}], updated_props={})))

    yield say
    for token in reversed(tokens):
        context_value.reset(token)


def _frames() -> dict[str, pd.DataFrame]:
    draw = np.random.default_rng(7)
    first = pd.Timestamp("2026-01-05 09:00")
    batches, operations, runs, readings, tastings = [], [], [], [], []
    for place in range(BATCHES):
        batch, run, recipe = str(100 + place), f"R{500 + place}", RECIPES[place % 2]
        packed = first + pd.Timedelta(days=4 * place)
        batches.append(
            {
                "batch": batch,
                "recipe": recipe,
                "brewed_on": packed - pd.Timedelta(days=18),
                "volume": 20.0,
                "vessel": "FV1",
            }
        )
        rouse = packed - pd.Timedelta(days=5)
        minutes = float(15 * (place % 3))
        operations += [
            {"batch": batch, "operation": "rouse", "started_at": rouse, "minutes": minutes},
            {
                "batch": batch,
                "operation": "finings",
                "started_at": rouse + pd.Timedelta(days=1),
                "amount": 300.0 + 50 * (place % 2),
                "unit": "mL/hL",
                "agent": "isinglass",
            },
        ]
        runs.append({"run": run, "batch": batch, "packed_at": packed, "format": "can", "size": 440.0, "line": "1"})
        lift = 1.8 if recipe == "P40" and place >= 16 else 1.0
        for sample in range(PER_RUN):
            readings.append(
                _reading(run, sample, packed, "total_oxygen", 60 * lift * float(np.exp(draw.normal(0, 0.1))))
            )
            readings.append(_reading(run, sample, packed, "haze", 0.8, sign="<" if place == 3 else None))
        tastings.append(
            {
                "run": run,
                "tasted_on": packed + pd.Timedelta(days=30),
                "panellist": "A",
                "attribute": "papery",
                "score": 1.0 + place % 2,
            }
        )
    frames = {
        "batches": batches,
        "operations": operations,
        "pack_runs": runs,
        "readings": readings,
        "tastings": tastings,
    }
    return {kind: pd.DataFrame(rows) for kind, rows in frames.items()}


def _reading(run: str, sample: int, packed: pd.Timestamp, quantity: str, value: float, sign: str | None = None) -> dict:
    return {
        "run": run,
        "stage": "pack",
        "sample": str(sample + 1),
        "measured_at": packed + pd.Timedelta(hours=3),
        "quantity": quantity,
        "value": value,
        "sign": sign,
        "meter": "M1",
    }
