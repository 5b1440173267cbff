"""What must be written for an outcome to stand, and how does each offered row count?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.changes import Addition, Changes, Numbering, Tally
from analysis.ledger.claims import Claims, Origin
from analysis.ledger.identity import Marks
from analysis.ledger.merging import Filled, Outcome

__all__ = ["changes_of"]

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class _View:
    """Claims and their outcome as plain arrays, shape (n,); ``label`` is the conflict each is to stand in, 0 for none;
    ``keeps`` marks filled rows on record that go on standing."""

    claims: Claims
    outcome: Outcome
    thing: Indices
    content: Indices
    origin: Indices
    was: Bools
    conflict: Indices
    label: Indices
    keeps: Bools

    @property
    def things(self) -> int:
        return int(self.thing.max(initial=-1)) + 1

    def any_of(self, rows: Bools | Indices) -> Bools:
        """Return for each thing whether it has one of the rows."""
        return np.asarray(np.bincount(self.thing[rows], minlength=self.things) > 0)


def changes_of(claims: Claims, outcome: Outcome, numbering: Numbering) -> Changes:
    """Return what must be written for an outcome to stand.

    Parameters
    ----------
    claims : Claims
        Every claim about the things that any of them is about.
    outcome : Outcome
        What ``fold`` made of them.
    numbering : Numbering
        Gives numbers to new records and conflicts.
    """
    view = _view(claims, outcome, numbering)
    kind = claims.packed.kind.name
    stands, origin = outcome.stands, view.origin
    again = (origin == Origin.ROW) & stands & (~view.was | (view.label != view.conflict))
    new_filled = _new_filled(view)
    added, repeats = _write_offered(view, numbering)
    promoted = np.flatnonzero((origin == Origin.REPEAT) & stands)
    additions = [*added, *_addition(view, promoted, numbering), *_filled_addition(new_filled, kind, numbering)]
    record = claims.about["record"].to_numpy()
    return Changes(
        kind,
        _tally(view, again, new_filled),
        tuple(additions),
        ended=record[view.was & ~stands & ~view.keeps],
        standing=pd.DataFrame({"record": record[again], "conflict": view.label[again]}),
        repeats=repeats,
        promoted=_pointers(claims, promoted, record[promoted]),
        left=_left(view),
        conflicts=np.unique(view.label[_in_conflict(view)]),
    )


def _view(claims: Claims, outcome: Outcome, numbering: Numbering) -> _View:
    about, thing = claims.about, outcome.thing
    was, conflict = about["current"].to_numpy(dtype=bool), about["conflict"].to_numpy()
    content, origin = about["content"].to_numpy(), about["origin"].to_numpy()
    label = _labels(thing, np.where(was, conflict, 0), outcome.conflicting, numbering)
    wanted = pd.MultiIndex.from_arrays([outcome.filled.thing, outcome.filled.content])
    keeps = was & about["active"].to_numpy(dtype=bool) & (origin == Origin.FILLED)
    keeps &= pd.MultiIndex.from_arrays([thing, content]).isin(wanted)
    return _View(claims, outcome, thing, content, origin, was, conflict, label, keeps)


def _labels(thing: Indices, conflict: Indices, conflicting: Bools, numbering: Numbering) -> Indices:
    """Return each claim's conflict: the number that its thing had, or a new one."""
    label = np.zeros(len(thing), dtype=np.int64)
    things = np.unique(thing[conflicting])
    numbered = pd.DataFrame({"thing": thing, "conflict": conflict})[(conflict > 0) & np.isin(thing, things)]
    had = numbered.groupby("thing")["conflict"].min()
    had = had[~had.duplicated()]  # one thing that became two: only one of them keeps the number
    numbers = had.reindex(things).fillna(0).to_numpy(dtype=np.int64, copy=True)
    new = numbers == 0
    numbers[new] = numbering.conflicts(int(new.sum()))
    label[conflicting] = numbers[np.searchsorted(things, thing[conflicting])]
    return label


def _new_filled(view: _View) -> Filled:
    """Return the filled rows that do not stand on record already."""
    filled = view.outcome.filled
    rows = np.flatnonzero(~np.isin(filled.thing, view.thing[view.keeps]))
    return Filled(filled.packed.take(rows), filled.key[rows], filled.content[rows], filled.thing[rows])


def _write_offered(view: _View, numbering: Numbering) -> tuple[list[Addition], pd.DataFrame]:
    """Return the offered rows that become rows on record, and those that only point to one that says the same."""
    offered, stands = view.origin == Origin.OFFERED, view.outcome.stands
    standing = np.flatnonzero(offered & stands)
    additions = _addition(view, standing, numbering)
    record = view.claims.about["record"].to_numpy().copy()
    for addition in additions:
        record[standing] = addition.record
    rest = np.flatnonzero(offered & ~stands)
    said = pd.MultiIndex.from_arrays([view.thing, view.content])
    known = np.flatnonzero((view.origin == Origin.ROW) | (offered & stands))
    unknown = rest[~said[rest].isin(said[known])]
    unknown = unknown[~said[unknown].duplicated()]
    silent = _addition(view, unknown, numbering, stands=False)
    for addition in silent:
        record[unknown] = addition.record
    known = np.concatenate([known, unknown])
    known = known[~said[known].duplicated()]
    pointing = np.setdiff1d(rest, unknown)
    target = record[known[said[known].get_indexer(said[pointing])]]
    return [*additions, *silent], _pointers(view.claims, pointing, target)


def _addition(view: _View, rows: Indices, numbering: Numbering, *, stands: bool = True) -> list[Addition]:
    """Return the claims of those rows as rows to be written."""
    if not len(rows):
        return []
    packed = view.claims.packed.take(rows)
    about = view.claims.about
    marked = Marks(about["key"].to_numpy()[rows], view.content[rows])
    record = numbering.records(packed.kind.name, len(rows))
    return [Addition(packed, marked, record, view.label[rows], stands=stands)]


def _filled_addition(filled: Filled, kind: str, numbering: Numbering) -> list[Addition]:
    if not len(filled):
        return []
    record = numbering.records(kind, len(filled))
    return [Addition(filled.packed, Marks(filled.key, filled.content), record, filled=True)]


def _pointers(claims: Claims, rows: Indices, record: Indices) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "record": record,
            "sheet": claims.packed.sheet[rows],
            "source_row": claims.packed.source_row[rows],
            "key": claims.about["key"].to_numpy()[rows],
        }
    )


def _left(view: _View) -> Indices:
    """Return the sheet of each row that goes on standing though no offered row speaks of its thing."""
    spoken_of = view.any_of(view.origin == Origin.OFFERED)
    rows = view.was & view.outcome.stands & (view.origin == Origin.ROW) & ~spoken_of[view.thing]
    return np.asarray(view.claims.packed.sheet[rows])


def _in_conflict(view: _View) -> Bools:
    """Return the offered rows that say what one side of a conflict says."""
    said = pd.MultiIndex.from_arrays([view.thing, view.content])
    sides = said[view.outcome.conflicting]
    return np.asarray((view.origin == Origin.OFFERED) & said.isin(sides))


def _tally(view: _View, again: Bools, new_filled: Filled) -> Tally:
    """Count the fates of the offered rows, and the things that come to stand again or no more."""
    offered, stands = view.origin == Origin.OFFERED, view.outcome.stands
    had = view.any_of(view.was)
    newly = view.any_of(again) | view.any_of(stands & (view.origin != Origin.ROW))
    newly[new_filled.thing] = True
    ended = view.any_of(view.was & ~stands & ~view.keeps)
    conflicting = _in_conflict(view)
    changed = (newly | ended)[view.thing] & view.outcome.speaks & ~_said_before(view)
    first = np.zeros(len(view.thing), dtype=bool)
    rows = np.flatnonzero(offered)
    first[rows[np.unique(view.thing[rows], return_index=True)[1]]] = True
    added = offered & ~conflicting & ~had[view.thing] & first
    updated = offered & ~conflicting & ~added & changed
    stands_after = view.any_of(stands | view.keeps)
    stands_after[view.outcome.filled.thing] = True
    removed, restored = 0, 0
    if not offered.any():
        back = view.any_of((again | (stands & (view.origin == Origin.REPEAT))) & ~_said_before(view))
        back[new_filled.thing[~_filled_before(view, new_filled)]] = True
        removed, restored = int((had & ~stands_after).sum()), int(back.sum())
    unchanged = int((offered & ~conflicting & ~added & ~updated).sum())
    return Tally(int(added.sum()), int(updated.sum()), unchanged, int(conflicting.sum()), removed, restored)


def _filled_before(view: _View, filled: Filled) -> Bools:
    """Return whether a filled row says what stood uncontradicted before."""
    before = view.was & (view.conflict == 0)
    said = pd.MultiIndex.from_arrays([view.thing[before], view.content[before]])
    return np.asarray(pd.MultiIndex.from_arrays([filled.thing, filled.content]).isin(said))


def _said_before(view: _View) -> Bools:
    """Return whether a claim says what stood uncontradicted before."""
    said = pd.MultiIndex.from_arrays([view.thing, view.content])
    return np.asarray(said.isin(said[view.was & (view.conflict == 0)]))
