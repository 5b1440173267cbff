"""Which of the claims about a thing stand, which contradict each other, and which fill each other's blanks?

The answer depends on nothing but the claims of the intakes that were not withdrawn and on what people decided, so
taking an intake back leaves what would stand had it never come.

0. Rows of one number are about two things where the number began again in another year (``occasions``).

1. Of one file and sheet, its latest version's claim counts: a corrected file replaces what it said before.
2. What a person decided is wrong is left out for as long as what they decided is right is still said by some file.
3. One claim left, or several in the same words: it stands.
4. Several that differ only in what they leave blank: they stand as one row, each filling the other's blanks.
5. Several that contradict each other: all of them stand in conflict.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.claims import Claims, Origin
from analysis.ledger.extras import Extras, weigh_extras
from analysis.ledger.identity import LOOSE, content_marks, is_compared, key_columns, moments_of
from analysis.ledger.packing import Packed
from analysis.ledger.same_rows import join_moved
from analysis.records.occasions import occasions

__all__ = ["Filled", "Outcome", "fold"]

# A column in which a blank says something: a reading with no sign is a value, not a limit.
_BLANK_SPEAKS = {"readings": ("sign",)}
_SAID_BLANK = np.uint64(1)

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]
Hashes = npt.NDArray[np.uint64]


@dataclass(frozen=True)
class Filled:
    """Rows made of several claims, with the key, the content's mark and the thing of each, shape (m,)."""

    packed: Packed
    key: Indices
    content: Indices
    thing: Indices

    def __len__(self) -> int:
        return len(self.thing)


@dataclass(frozen=True)
class Outcome:
    """What stands.

    ``thing`` numbers what each claim is about; ``speaks`` is whether it counts beside the others (no later version of
    its file, not decided against); ``stands`` whether it stands, alone or in conflict; ``conflicting`` whether it
    stands in conflict; each of shape (n,). ``filled`` are the rows to stand in place of several claims.
    """

    thing: Indices
    speaks: Bools
    stands: Bools
    conflicting: Bools
    filled: Filled


def fold(claims: Claims, decisions: pd.DataFrame) -> Outcome:
    """Return what stands of some claims.

    Parameters
    ----------
    claims : Claims
        Every claim about the things that any of them is about.
    decisions : DataFrame
        What people decided: resolution, key, kept, dismissed (marks of contents).
    """
    hashes = {column.name: column.hashes() for column in claims.packed.columns}
    thing = _things(claims, hashes)
    speaks = _latest(claims.about, thing)
    speaks &= ~_decided_against(claims.about, thing, speaks, decisions)
    first = _first_in_these_words(claims.about, thing, speaks)
    count = np.bincount(thing[first], minlength=thing.max(initial=-1) + 1)
    stands = np.zeros(len(claims), dtype=bool)
    stands[first[count[thing[first]] == 1]] = True
    several = first[count[thing[first]] > 1]
    conflicting = np.zeros(len(claims), dtype=bool)
    filled = _settle_several(claims, hashes, thing, several, stands, conflicting)
    return Outcome(thing, speaks, stands, conflicting, filled)


def _things(claims: Claims, hashes: dict[str, Hashes]) -> Indices:
    """Number what each claim is about; a loose column that is blank takes the one value that the others have."""
    kind = claims.packed.kind
    strict = pd.DataFrame({"key": claims.about["key"], **{name: hashes[name] for name in key_columns(kind)}})
    group = np.asarray(strict.groupby(list(strict.columns), sort=False).ngroup(), dtype=np.int64)
    if kind.occasion:
        return _of_occasions(claims, group)
    if kind.name not in LOOSE:
        return group
    loose = hashes[LOOSE[kind.name]]
    told = _counted(claims.about) & (loose != 0)
    said = pd.DataFrame({"group": group, "value": loose})[told].groupby("group")["value"].agg(["nunique", "max"])
    said = said[said["nunique"] == 1]
    only = np.zeros(group.max(initial=-1) + 1, dtype=np.uint64)
    only[said.index] = said["max"]
    value = np.where(loose == 0, only[group], loose)
    told_apart = pd.DataFrame({"group": group, "value": value}).groupby(["group", "value"], sort=False)
    return np.asarray(told_apart.ngroup(), dtype=np.int64)


def _of_occasions(claims: Claims, group: Indices) -> Indices:
    """Number what each claim is about, where numbers may begin again: the uses of each number apart."""
    counted, moment = _counted(claims.about), moments_of(claims.packed)
    use = occasions(group, moment, counted)
    return join_moved(claims, group, use, counted)


def _counted(about: pd.DataFrame) -> Bools:
    """Return whether a row is a claim of an intake that was not withdrawn."""
    return np.asarray(about["active"].to_numpy(dtype=bool) & (about["origin"].to_numpy() != Origin.FILLED))


def _latest(about: pd.DataFrame, thing: Indices) -> Bools:
    """Return whether a claim says what the latest version of its file says of the thing."""
    claims = _counted(about)
    said = pd.DataFrame({"thing": thing, **about[["family", "content", "intake"]]})[claims]
    newest = said["intake"].eq(said.groupby(["thing", "family"])["intake"].transform("max"))
    words = pd.MultiIndex.from_frame(said[["thing", "family", "content"]])
    latest = np.zeros(len(about), dtype=bool)
    latest[claims] = words.isin(words[newest.to_numpy()])
    return latest


def _decided_against(about: pd.DataFrame, thing: Indices, speaks: Bools, decisions: pd.DataFrame) -> Bools:
    """Return whether a person decided against a claim, in favour of one that is still made."""
    against = np.zeros(len(about), dtype=bool)
    if not len(decisions):
        return against
    said = pd.DataFrame({"thing": thing, "key": about["key"], "content": about["content"]})[speaks]
    pairs = said.merge(decisions, left_on=["key", "content"], right_on=["key", "kept"])[
        ["thing", "kept", "dismissed", "resolution"]
    ]
    pairs = pairs.sort_values("resolution").drop_duplicates(["thing", "kept", "dismissed"], keep="last")
    turned = pairs.rename(columns={"kept": "dismissed", "dismissed": "kept", "resolution": "later"})
    pairs = pairs.merge(turned, how="left", on=["thing", "kept", "dismissed"])
    pairs = pairs[~(pairs["later"] > pairs["resolution"])]
    if not len(pairs):
        return against
    wrong = pd.MultiIndex.from_frame(pairs[["thing", "dismissed"]])
    against[said.index] = pd.MultiIndex.from_frame(said[["thing", "content"]]).isin(wrong)
    left = np.unique(thing[speaks & ~against])
    return np.asarray(against & np.isin(thing, left))  # decisions that leave nothing standing decide nothing


def _first_in_these_words(about: pd.DataFrame, thing: Indices, speaks: Bools) -> Indices:
    """Return one claim for each thing and content: the one that stands already, or else the one that came first."""
    rank = np.select(
        [about["current"], about["origin"].eq(Origin.ROW), about["origin"].eq(Origin.OFFERED)], [0, 1, 2], 3
    )
    said = pd.DataFrame({"thing": thing, "content": about["content"], "rank": rank, "intake": about["intake"]})[speaks]
    said = said.sort_values(["rank", "intake"], kind="stable").drop_duplicates(["thing", "content"])
    return said.sort_index().index.to_numpy(dtype=np.int64)


def _settle_several(
    claims: Claims, hashes: dict[str, Hashes], thing: Indices, several: Indices, stands: Bools, conflicting: Bools
) -> Filled:
    """Mark what stands of claims that differ, and return the rows that are made of those that agree."""
    order = several[np.lexsort((claims.about["intake"].to_numpy()[several], thing[several]))]
    compared = {
        column.name: hashes[column.name][order]
        for column in claims.packed.columns
        if is_compared(claims.packed.kind, column.name)
    }
    for name in _BLANK_SPEAKS.get(claims.packed.kind.name, ()):
        compared[name] = np.where(compared[name] == 0, _SAID_BLANK, compared[name])
    group = pd.factorize(thing[order])[0]
    extras = weigh_extras(claims.packed.column("extra").take(order), group)
    agree = ~extras.contradict
    for values in compared.values():
        agree &= _least(values, group) == _greatest(values, group)
    stands[order[~agree[group]]] = conflicting[order[~agree[group]]] = True
    complete = _says_all(compared, group, extras) & agree[group]
    full = order[complete][np.unique(group[complete], return_index=True)[1]]
    stands[full] = True
    made = agree & ~np.isin(np.arange(len(agree)), group[complete])
    return _fill(claims, thing, order, group, made, extras)


def _least(values: Hashes, group: Indices) -> Hashes:
    """Return the least value of each group that is not a blank; that of a group of blanks is 0."""
    top = np.iinfo(np.uint64).max
    least = np.minimum.reduceat(np.where(values == 0, top, values), _starts(group)) if len(values) else values
    return np.where(least == top, np.uint64(0), least)


def _greatest(values: Hashes, group: Indices) -> Hashes:
    return np.maximum.reduceat(values, _starts(group)) if len(values) else values


def _starts(group: Indices) -> Indices:
    """Return where each group starts, of rows that stand in the order of their groups."""
    return np.flatnonzero(np.diff(group, prepend=-1))


def _says_all(compared: dict[str, Hashes], group: Indices, extras: Extras) -> Bools:
    """Return whether a claim leaves nothing blank that another one of its group says."""
    full = extras.complete.copy()
    for values in compared.values():
        full &= (values != 0) | (_greatest(values, group)[group] == 0)
    return np.asarray(full)


def _fill(claims: Claims, thing: Indices, order: Indices, group: Indices, made: Bools, extras: Extras) -> Filled:
    """Return one row for each group that is to be made: every column's first value that is not blank."""
    wanted = np.flatnonzero(made[group])
    rows, parts = order[wanted], pd.factorize(group[wanted])[0]
    starts = _starts(parts)
    base = rows[starts]
    columns = []
    for column in claims.packed.columns:
        filled = np.where(column.blank[rows], len(rows), np.arange(len(rows)))
        first = np.minimum.reduceat(filled, starts) if len(rows) else filled
        columns.append(column.take(np.where(first < len(rows), rows[np.minimum(first, len(rows) - 1)], base)))
    columns[-1] = extras.merged_into(columns[-1], np.flatnonzero(made))
    packed = Packed(claims.packed.kind, tuple(columns), claims.packed.sheet[base], claims.packed.source_row[base])
    return Filled(packed, claims.about["key"].to_numpy()[base], content_marks(packed), thing[base])
