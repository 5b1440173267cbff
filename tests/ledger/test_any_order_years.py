"""Whatever the order of intakes, corrections and withdrawals over three years: does a plain model agree?

The model keeps lists of rows and works out thing by thing what stands, by the words of the rules alone: two runs where
the same numbers lie in two years and more than 60 days apart; one run where the newest version of a sheet has the same
number in the same place, and no longer the old date; and a sheet of which no fewer runs are of another year than are
on record is no version of it.
"""

from __future__ import annotations

import random
from collections import defaultdict
from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest

from analysis.ledger import Ledger, snapshot

FILES = ("log.xlsx", "lab.csv")
DAYS = (date(2024, 2, 5), date(2024, 12, 20), date(2025, 1, 8), date(2025, 2, 5), date(2025, 12, 29), date(2026, 1, 4),
        date(2026, 2, 9))  # fmt: skip


class Model:
    """What stands, worked out from scratch each time."""

    def __init__(self) -> None:
        self.claims: list[tuple[int, tuple[str, int], str, int, date | None, float | None]] = []
        self.withdrawn: set[int] = set()
        self.begun: dict[str, int] = {}

    def active(self) -> list[tuple[int, tuple[str, int], str, int, date | None, float | None]]:
        return [claim for claim in self.claims if claim[0] not in self.withdrawn]

    def family(self, file: str, rows: list[dict[str, Any]]) -> tuple[str, int]:
        """Return which of the families begun under a file's name its rows belong to."""
        numbers, strange = range(self.begun.get(file, 0), 0, -1), False
        for number in numbers:
            told = defaultdict(list)
            for _, family, run, _, day, _ in self.active():
                if family == (file, number) and day is not None:
                    told[run].append(day)
            fits = [
                any(not _apart(day, other) or (day.month, day.day) == (other.month, other.day) for other in told[run])
                for run, day in ((row["run"], row["day"]) for row in rows)
                if day is not None and told[run]
            ]
            if fits and not (fits.count(False) and fits.count(False) >= fits.count(True)):
                return file, number
            strange |= bool(fits)
        number = max(self.begun.get(file, 1), 1) + strange
        self.begun[file] = number
        return file, number

    def stands(self) -> tuple[list[Any], list[Any]]:
        """Return what stands, and the sides of the conflicts, each with the run and its day."""
        stands, conflicts = [], []
        for run in {claim[2] for claim in self.active()}:
            for thing in _things([claim for claim in self.active() if claim[2] == run]):
                said = set()
                for family in {claim[1] for claim in thing}:
                    own = [claim for claim in thing if claim[1] == family]
                    newest = max(claim[0] for claim in own)
                    said |= {(claim[4], claim[5]) for claim in own if claim[0] == newest}
                cells = [{side[n] for side in said if side[n] is not None} for n in (0, 1)]
                if all(len(cell) <= 1 for cell in cells):
                    stands.append((run, *(next(iter(cell), None) for cell in cells)))
                else:
                    conflicts += [(run, *side) for side in said]
        return sorted(stands, key=str), sorted(conflicts, key=str)


def _apart(one: date, other: date) -> bool:
    return one.year != other.year and abs(one - other) > timedelta(days=60)


def _things(claims: list[Any]) -> list[list[Any]]:
    """Part the claims of one number into the runs that they are about."""
    uses: list[list[date]] = []
    for day in sorted({claim[4] for claim in claims if claim[4] is not None}):
        if uses and not _apart(uses[-1][-1], day):
            uses[-1].append(day)
        else:
            uses.append([day])
    use = {day: place for place, own in enumerate(uses) for day in own}
    label = [
        use[claim[4]] if claim[4] is not None else 0 if len(uses) == 1 else -1
        for claim in claims
    ]  # fmt: skip
    moves = []
    for family in {claim[1] for claim in claims}:
        own = [(claim, at) for claim, at in zip(claims, label, strict=True) if claim[1] == family]
        newest = max(claim[0] for claim, _ in own)
        now = {at for claim, at in own if claim[0] == newest}
        moves += [
            (at, to)
            for claim, at in own
            if claim[0] != newest and at not in now
            for other, to in own
            if other[0] == newest and other[3] == claim[3]
        ]
    joined = {at: {at} for at in label}
    for at, to in moves:
        both = joined[at] | joined[to]
        for each in both:
            joined[each] = both
    return [
        [claim for claim, at in zip(claims, label, strict=True) if at in own]
        for own in {frozenset(each) for each in joined.values()}
    ]


def _rows(chance: random.Random) -> list[dict[str, Any]]:
    return [
        {
            "run": str(chance.randint(1, 3)),
            "day": chance.choice(DAYS) if chance.random() < 0.9 else None,
            "size": 330.0 if chance.random() < 0.4 else None,
        }
        for _ in range(chance.randint(1, 4))
    ]


def _cells(frame: pd.DataFrame) -> list[Any]:
    days = [None if pd.isna(moment) else moment.date() for moment in frame["packed_at"]]
    sizes = [None if pd.isna(size) else size for size in frame["size"]]
    return sorted(zip(frame["run"], days, sizes, strict=True), key=str)


@pytest.mark.parametrize("seed", range(12))
def test_any_order_of_years(ledger: Ledger, offer, seed: int):
    chance, model = random.Random(seed), Model()
    for number in range(12):
        active = sorted({claim[0] for claim in model.active()})
        if active and chance.random() < 0.25:
            intake = chance.choice(active)
            ledger.withdraw(intake, "chance", "Ines")
            model.withdrawn.add(intake)
        else:
            file, rows = chance.choice(FILES), _rows(chance)
            told = [
                {"run": row["run"], "batch": "1", "size": row["size"],
                 "packed_at": None if row["day"] is None else pd.Timestamp(row["day"])}
                for row in rows
            ]  # fmt: skip
            done = ledger.commit(offer(file, f"sha {number}", pack_runs=told), "Ines")
            assert done.intake is not None
            assert done.counts["pack_runs"].rows == len(rows)
            family = model.family(file, rows)
            for place, row in enumerate(rows):
                model.claims.append((done.intake, family, row["run"], place, row["day"], row["size"]))
        stands, conflicts = model.stands()
        shot = snapshot(ledger)
        assert _cells(shot.frame("pack_runs")) == stands
        assert _cells(shot.in_conflict("pack_runs")) == conflicts
