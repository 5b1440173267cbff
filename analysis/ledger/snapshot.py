"""What stood on record in a given state?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from threading import Lock
from types import MappingProxyType
from typing import Self

import numpy as np
import pandas as pd

from analysis.ledger.cache import Cache, cache_root
from analysis.ledger.frames import frame_of, frame_schema, read_rows
from analysis.ledger.ledger import Ledger
from analysis.ledger.states import StateName, name_of_state
from analysis.records import kinds

__all__ = ["Snapshot", "ledger_cache", "snapshot"]

_LAYOUT = "1"  # of the cached tables: raised when what a cached table holds changes its meaning


@dataclass(frozen=True, eq=False)
class Snapshot:
    """The records as they stood in one state of the ledger; frames are read when they are first asked for.

    ``name`` names the state across ledgers and copies of a ledger. ``records`` names the records alone, within their
    ledger: states between which only decisions were made share it, and what was computed from the records may be kept
    under it.
    """

    state: int
    name: str
    records: str
    _load: Callable[[str, bool], pd.DataFrame] = field(repr=False)
    _loaded: dict[tuple[str, bool], pd.DataFrame] = field(default_factory=dict, repr=False)
    _lock: Lock = field(default_factory=Lock, repr=False)

    @classmethod
    def of(cls, frames: Mapping[str, pd.DataFrame], state: int = 0) -> Self:
        """Return a snapshot of frames that stand on no ledger; what a frame lacks of the usual columns is filled in.

        Raises
        ------
        ValueError
            If there is no such kind.
        """
        complete = {name: _completed(kinds.kind(name), frame) for name, frame in frames.items()}
        return cls(state, f"{state}", f"{state}", partial(_given, complete))

    @classmethod
    def empty(cls) -> Self:
        """Return a snapshot with nothing on record."""
        return cls.of({})

    def frame(self, kind: str) -> pd.DataFrame:
        """Return the records of a kind that stand uncontradicted.

        Returns
        -------
        DataFrame
            The kind's columns (``id``, ``text``, ``choice``: str; ``number``, ``count``: float64; ``date``,
            ``moment``: datetime64[us]), then ``extra`` (JSON text or missing), ``record`` and ``intake`` (int64),
            ``file`` and ``sheet`` (category) and ``source_row`` (int32). A change to it does not reach the snapshot.

        Raises
        ------
        ValueError
            If there is no such kind.
        """
        return self._frame(kind, False)

    def in_conflict(self, kind: str) -> pd.DataFrame:
        """Return the records of a kind that contradict another one about the same thing, and that nobody settled.

        Returns
        -------
        DataFrame
            ``conflict`` (int64, the same for rows about the same thing), then the columns of ``frame``.

        Raises
        ------
        ValueError
            If there is no such kind.
        """
        return self._frame(kind, True)

    @property
    def conflicts(self) -> Mapping[str, pd.DataFrame]:
        """The records in conflict by kind, of the kinds that have any."""
        frames = {kind: self.in_conflict(kind) for kind in kinds.KINDS}
        return MappingProxyType({kind: frame for kind, frame in frames.items() if len(frame)})

    def replacing(self, kind: str, frame: pd.DataFrame, named: str) -> Self:
        """Return the records with another frame in place of one kind's; nothing on record is changed.

        Parameters
        ----------
        kind : str
            The kind.
        frame : DataFrame
            What ``frame(kind)`` is to return; of the same columns.
        named : str
            What tells this frame from others that may stand in the kind's place: it becomes part of ``records``.

        Raises
        ------
        ValueError
            If there is no such kind.
        """
        kinds.kind(kind)

        def load(asked: str, conflicting: bool) -> pd.DataFrame:
            return frame if asked == kind and not conflicting else self._frame(asked, conflicting)

        return type(self)(self.state, self.name, f"{self.records}-{named}", load)

    def _frame(self, kind: str, conflicting: bool) -> pd.DataFrame:
        kinds.kind(kind)
        with self._lock:
            if (kind, conflicting) not in self._loaded:
                self._loaded[kind, conflicting] = self._load(kind, conflicting)
            return self._loaded[kind, conflicting].copy(deep=False)


def snapshot(ledger: Ledger, state: int | None = None) -> Snapshot:
    """Return the records as they stand, or as they stood in an earlier state.

    Raises
    ------
    ValueError
        If the ledger never was in that state.
    """
    named = name_of_state(ledger.database, state)
    return Snapshot(named.state, named.name, named.records, partial(_load, ledger, named))


def ledger_cache(named: StateName | Snapshot) -> Cache:
    """Return the cache of the ledger that a state belongs to."""
    return Cache(cache_root() / named.name.split("-")[0] / _LAYOUT)


def _load(ledger: Ledger, named: StateName, kind: str, conflicting: bool) -> pd.DataFrame:
    """Return the frame of a kind, from the cache where it is there."""
    since = named.last_change(kind)
    if since is None:
        return _empty(kind, conflicting)
    make = partial(read_rows, ledger.database, kind, named.state, conflicting=conflicting)
    series = f"{kind}-in-conflict" if conflicting else kind
    schema = frame_schema(kinds.kind(kind), conflicting=conflicting)
    return frame_of(ledger_cache(named).table(series, since, make, schema))


def _given(frames: Mapping[str, pd.DataFrame], kind: str, conflicting: bool) -> pd.DataFrame:
    return frames[kind] if kind in frames and not conflicting else _empty(kind, conflicting)


def _empty(kind: str, conflicting: bool = False) -> pd.DataFrame:
    return frame_of(frame_schema(kinds.kind(kind), conflicting=conflicting).empty_table())


def _completed(kind: kinds.Kind, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame with every column of the kind, in order and with its type."""
    rows = len(frame)
    filled = frame.reset_index(drop=True)
    defaults = {"record": np.arange(1, rows + 1), "intake": 1, "file": "", "sheet": "", "source_row": 1}
    model = _empty(kind.name)
    columns = {}
    for name in model.columns:
        values = filled[name] if name in filled else pd.Series(defaults.get(name), index=filled.index, dtype=object)
        columns[name] = values.astype("str").astype("category") if name in ("file", "sheet") else values
    complete = pd.DataFrame(columns, index=filled.index)
    return complete.astype({n: t for n, t in model.dtypes.items() if n not in ("file", "sheet")})
