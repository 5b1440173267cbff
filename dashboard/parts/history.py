"""What happened to the beer in one pack run, from brew to tasting?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
import pandas as pd

from analysis.findings.wording import amount, count, day, listing
from analysis.linking import PackTable
from analysis.vocabulary import measure
from dashboard.parts.moves import moves_of

__all__ = ["Event", "Lane", "RunHistory", "events_frame", "run_history"]

Lane = Literal["brew", "cellar", "reading", "packaging", "tasting"]

_LANES: tuple[Lane, ...] = ("brew", "cellar", "packaging", "reading", "tasting")
"""The order of what is on record with one and the same moment: a pack is read after it was closed."""

_OPERATIONS = {
    "rouse": "Roused",
    "finings": "Finings added",
    "dump": "Cone dumped",
    "dry_hop": "Dry-hopped",
    "chill": "Chilled",
    "transfer": "Transferred",
    "purge": "Purged",
    "carbonate": "Carbonated",
    "filter": "Filtered",
    "other": "Other work",
}
_STAGES = {
    "fermenter": "in the fermenter",
    "bright_tank": "in the bright tank",
    "filler": "at the filler",
    "pack": "in the pack",
}


@dataclass(frozen=True)
class Event:
    """One thing that happened: ``what`` in a few words, ``detail`` in the rest of a sentence, ``where`` the vessel."""

    at: datetime
    lane: Lane
    what: str
    detail: str = ""
    batch: str = ""
    where: str = ""


@dataclass(frozen=True)
class RunHistory:
    """A pack run's events in order of time, with what the run was and which batches are in it."""

    run: str
    recipe: str
    format: str
    packed_at: datetime | None
    batches: tuple[tuple[str, float], ...]
    events: tuple[Event, ...]

    @property
    def sentence(self) -> str:
        """The run in one sentence."""
        packed = f", packed on {day(self.packed_at)}" if self.packed_at is not None else ""
        what = " ".join(word for word in (self.recipe, f"in {self.format}s" if self.format else "") if word)
        return f"{what}{packed}, {_made_of(self.batches)}."


def events_frame(history: RunHistory) -> pd.DataFrame:
    """Return a run's events, a row each."""
    columns = ("at", "lane", "what", "detail", "batch", "where")
    frame = pd.DataFrame([[getattr(event, name) for name in columns] for event in history.events], columns=columns)
    return frame.assign(at=pd.to_datetime(frame["at"]).dt.as_unit("us"))


def run_history(table: PackTable, run: str, transfers: pd.DataFrame | None = None) -> RunHistory | None:
    """Return what is on record about a pack run and the batches in it, or None where the run is not on record.

    ``transfers`` are the records of moves, where they are at hand.
    """
    table = table.as_read or table
    packs = table.rows[table.rows["run"] == run]
    if not len(packs):
        return None
    first = packs.iloc[0]
    batches = _batches(table, run, str(first["batch"]))
    names = list(dict.fromkeys([*(name for name, _ in batches), *_own_batches(table, packs["batch"])]))
    packed_at = _moment(first["packed_at"])
    own = table.batches[table.batches["batch"].isin(names)]
    events = [
        *_brews(own),
        *_moves(transfers, own, packed_at),
        *_operations(table.operations[table.operations["batch"].isin(names)]),
        *_readings(_of_run(table.readings, run, names)),
        *_packaging(packs, packed_at),
        *_tastings(table.tastings[table.tastings["run"] == run]),
    ]
    return RunHistory(
        run,
        _word(first["recipe"]),
        _word(first["format"]),
        packed_at,
        batches,
        tuple(sorted(events, key=lambda event: (event.at, _LANES.index(event.lane)))),
    )


def _of_run(readings: pd.DataFrame, run: str, batches: list[str]) -> pd.DataFrame:
    """Return the run's own readings and those of its batches that belong to no other run."""
    own = readings["run"] == run
    return readings[own | (readings["run"].isna() & readings["batch"].isin(batches))]


def _batches(table: PackTable, run: str, batch: str) -> tuple[tuple[str, float], ...]:
    shares = table.blends[table.blends["run"] == run]
    if not len(shares):
        return ((batch, 1.0),)
    return tuple((str(name), float(share)) for name, share in zip(shares["batch"], shares["share"], strict=True))


def _own_batches(table: PackTable, written: pd.Series) -> list[str]:
    """Return the batches that the packs' own rows name: beer that was given a new number goes on under it."""
    known = set(table.batches["batch"])
    return [
        part for text in written.dropna().unique() for part in ([text] if text in known else str(text).split(" + "))
    ]


def _made_of(batches: tuple[tuple[str, float], ...]) -> str:
    if len(batches) == 1:
        return f"from batch {batches[0][0]}"
    return f"a blend of {listing([f'{name} ({share:.0%})' for name, share in batches])}"


def _brews(batches: pd.DataFrame) -> Iterator[Event]:
    for row in batches.itertuples():
        at = _moment(row.brewed_on)
        if at is not None:
            volume = f"{amount(float(row.volume), 'hL')}" if pd.notna(row.volume) else ""
            yield Event(at, "brew", "Brewed", volume, str(row.batch), _word(row.vessel))


def _moves(transfers: pd.DataFrame | None, batches: pd.DataFrame, packed_at: datetime | None) -> Iterator[Event]:
    if transfers is not None:
        until = None if packed_at is None else packed_at + timedelta(days=1)
        for move in moves_of(transfers, batches, until):
            yield Event(move.at, "cellar", "Moved", move.detail, move.batch)


def _operations(operations: pd.DataFrame) -> Iterator[Event]:
    for row in operations.itertuples():
        at = _moment(row.started_at)
        if at is not None:
            what = _OPERATIONS.get(str(row.operation), str(row.operation).replace("_", " ").capitalize())
            yield Event(at, "cellar", what, _operation_detail(row), str(row.batch), _word(row.tank))


def _operation_detail(row: tuple) -> str:
    parts = [f"for {round(row.minutes):,} min" if pd.notna(row.minutes) and row.minutes >= 1 else ""]
    parts.append(amount(float(row.amount), _word(row.unit)) if pd.notna(row.amount) else "")
    parts += [_word(row.agent), _word(row.note)]
    return ", ".join(part for part in parts if part)


def _readings(readings: pd.DataFrame) -> Iterator[Event]:
    known = readings[readings["measured_at"].notna()]
    days = known["measured_at"].dt.normalize()
    for (_, stage), group in known.groupby([days, known["stage"].astype("str").fillna("")], sort=True):
        told = [_measured(name, rows) for name, rows in group.groupby("quantity", sort=True)]
        where = _STAGES.get(str(stage), "")
        at = _moment(group["measured_at"].min())
        if at is not None:
            batch = group["batch"].dropna()
            yield Event(
                at, "reading", f"Read {where}".strip(), "; ".join(told), str(batch.iloc[0]) if len(batch) else ""
            )


def _measured(name: str, rows: pd.DataFrame) -> str:
    known = measure(name)
    low, high = float(rows["value"].min()), float(rows["value"].max())
    below = "<" if (rows["censored"] == -1).all() else ""
    span = amount(low, known.unit) if low == high else f"{amount(low)} to {amount(high, known.unit)}"
    many = f" in {count(len(rows), 'reading')}" if len(rows) > 1 else ""
    return f"{known.label.lower() if name != 'ph' else 'pH'} {below}{span}{many}"


def _packaging(packs: pd.DataFrame, packed_at: datetime | None) -> Iterator[Event]:
    if packed_at is None:
        return
    first = packs.iloc[0]
    parts = [f"line {first['line']}" if _word(first.get("line")) else ""]
    parts.append(f"{amount(float(first['size']), 'mL')}" if pd.notna(first.get("size")) else "")
    parts.append(count(packs["sample"].nunique(), "sample"))
    packed = f"Packed in {_word(first['format'])}s" if _word(first["format"]) else "Packed"
    yield Event(
        packed_at, "packaging", packed, ", ".join(p for p in parts if p), str(first["batch"]), _word(first["tank"])
    )


def _tastings(tastings: pd.DataFrame) -> Iterator[Event]:
    known = tastings[tastings["tasted_on"].notna()]
    for tasted_on, group in known.groupby("tasted_on", sort=True):
        means = group.groupby("attribute", sort=True)["score"].mean()
        told = listing(
            [f"{str(name).replace('_', ' ')} {amount(float(value), digits=2)}" for name, value in means.items()]
        )
        at = _moment(tasted_on)
        if at is not None:
            yield Event(
                at, "tasting", "Tasted", f"by {count(group['panellist'].nunique(), 'panellist')}: {told} on average"
            )


def _moment(value: object) -> datetime | None:
    return None if pd.isna(value) else pd.Timestamp(value).to_pydatetime()


def _word(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def spread(events: Iterable[Event]) -> np.ndarray:
    """Return the events' moments as days since the first, for a figure."""
    moments = np.array([np.datetime64(event.at, "s") for event in events])
    return (moments - moments.min()) / np.timedelta64(1, "D") if len(moments) else np.empty(0)
