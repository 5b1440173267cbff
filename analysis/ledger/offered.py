"""What does the ledger ask of an intake?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import pandas as pd

__all__ = ["OfferedFile", "OfferedIntake", "OfferedSheet"]


class OfferedSheet(Protocol):
    file: str
    sheet: str
    kind: str | None
    header_row: int | None
    rows: int
    accepted: int
    rejected: int
    ignored: int
    columns: Mapping[str, str]
    kept_as_extra: Sequence[str]
    layout: str | None
    answers: Any


class OfferedFile(Protocol):
    file: str
    sha256: str

    @property
    def sheets(self) -> Sequence[Any]: ...


class OfferedIntake(Protocol):
    @property
    def files(self) -> Sequence[Any]: ...
    @property
    def records(self) -> Mapping[str, pd.DataFrame]: ...
