"""What do the linking tests build their invented cellars from?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pandas as pd
import pytest

from analysis.ledger.snapshot import Snapshot

Rows = Sequence[Mapping[str, Any]]
Build = Callable[..., Snapshot]

_MOMENTS = ("brewed_on", "moved_at", "started_at", "ended_at", "packed_at", "measured_at", "tasted_on")


def frame_of(rows: Rows) -> pd.DataFrame:
    """Return rows as a frame, moments written as text read."""
    frame = pd.DataFrame(list(rows))
    for name in frame.columns.intersection(_MOMENTS):
        frame[name] = pd.to_datetime(frame[name], format="mixed").dt.as_unit("us")
    return frame


@pytest.fixture
def cellar() -> Build:
    """A snapshot of rows given by kind."""

    def build(**kinds: Rows) -> Snapshot:
        return Snapshot.of({kind: frame_of(rows) for kind, rows in kinds.items()})

    return build
