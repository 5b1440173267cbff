"""Which batch was in which tank, from when to when?"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

import numpy as np

from data_demo.draws import at_work, on_a_weekday, stream
from data_demo.truth import FIRST_BREW, LAST_BREW, NOW, RECIPES, Recipe

__all__ = ["BRIGHT_TANKS", "FERMENTERS", "Batch", "Move", "schedule"]

FERMENTERS = ("FV1", "FV2", "FV3", "FV4", "FV5", "FV6")
BRIGHT_TANKS = ("BB1", "BB2")
_CONTINUOUS_FROM = 2301
_RESTARTING_FROM = 101
_STRAIGHT = 0.10
_TWICE = 0.45
_BLENDS = 4


@dataclass(frozen=True)
class Move:
    """Beer that was moved: [hL] from a vessel to a vessel, from a batch to a batch."""

    from_batch: str
    to_batch: str
    from_vessel: str
    to_vessel: str
    volume: float
    moved_at: datetime


@dataclass(frozen=True)
class Batch:
    """A brew and its way through the cellar.

    ``key`` is unique; ``number`` is what is written on its papers. ``settle_at`` is when the last rouse or finings is
    over, ``pack_at`` when packaging starts. ``into`` is the key of the batch that it was blended into, "" if none.
    """

    key: str
    number: str
    recipe: Recipe
    brewed_at: datetime
    volume: float
    fermenter: str
    chill_at: datetime
    settle_at: datetime
    pack_at: datetime
    moves: tuple[Move, ...] = ()
    into: str = ""

    @property
    def packed(self) -> bool:
        """Whether the batch had been packed when the books end."""
        return self.pack_at < NOW

    @property
    def packed_from(self) -> str:
        """The vessel that the packaging line drew from."""
        return self.moves[-1].to_vessel if self.moves else self.fermenter


def schedule() -> tuple[Batch, ...]:
    """Return every batch, in the order of brewing, with its moves between tanks."""
    rng = stream("schedule")
    return _move(rng, _blend(_number(_brew(rng))))


def _brew(rng: np.random.Generator) -> list[Batch]:
    """Return the batches as the fermenters come free, not numbered yet."""
    start = datetime.combine(FIRST_BREW, time(7))
    free = [(start + timedelta(days=2.2 * place), vessel) for place, vessel in enumerate(FERMENTERS)]
    heapq.heapify(free)
    shares = np.array([r.share for r in RECIPES])
    batches = []
    while free[0][0].date() <= LAST_BREW:
        ready, vessel = heapq.heappop(free)
        batch = _brew_one(rng, ready, vessel, RECIPES[rng.choice(len(RECIPES), p=shares)])
        batches.append(batch)
        heapq.heappush(free, (batch.pack_at + timedelta(hours=rng.uniform(6, 14)), vessel))
    return sorted(batches, key=lambda b: b.brewed_at)


def _brew_one(rng: np.random.Generator, ready: datetime, vessel: str, recipe: Recipe) -> Batch:
    brewed_at = at_work(ready, 7, 13)
    chill_at = at_work(brewed_at + timedelta(days=rng.uniform(4.5, 5.8)))
    settle_at = at_work(chill_at + timedelta(hours=rng.uniform(30, 110)), 0, 24)
    pack_at = on_a_weekday(at_work(settle_at + timedelta(hours=rng.uniform(100, 132)), 8, 14))
    volume = round(rng.normal(25.0, 0.6), 1)
    return Batch("", "", recipe, brewed_at, volume, vessel, chill_at, settle_at, pack_at)


def _number(batches: list[Batch]) -> list[Batch]:
    """Number the batches: one range runs on, the other starts again each January."""
    running = _CONTINUOUS_FROM
    restarting: dict[int, int] = {}
    numbers = []
    for batch in batches:
        if batch.recipe.numbers_restart:
            year = batch.brewed_at.year
            restarting[year] = restarting.get(year, _RESTARTING_FROM - 1) + 1
            numbers.append(str(restarting[year]))
        else:
            numbers.append(str(running))
            running += 1
    keys = [f"{n} ({b.brewed_at.year})" if numbers.count(n) > 1 else n for n, b in zip(numbers, batches, strict=True)]
    return [replace(b, key=k, number=n) for b, k, n in zip(batches, keys, numbers, strict=True)]


def _blend(batches: list[Batch]) -> list[Batch]:
    """Let a few batches wait in the bright tank for a batch of the same recipe and be packed with it."""
    blended = list(batches)
    used: set[int] = set()
    pairs = [(i, j) for i in range(len(batches)) for j in range(len(batches)) if _can_blend(batches[i], batches[j])]
    for i, j in pairs[:: max(1, len(pairs) // (2 * _BLENDS))]:
        if len(used) < 2 * _BLENDS and not used & {i, j}:
            blended[i] = replace(batches[i], into=batches[j].key)
            used |= {i, j}
    return blended


def _can_blend(first: Batch, second: Batch) -> bool:
    wait = second.pack_at - first.pack_at
    return first.recipe == second.recipe and second.packed and timedelta(hours=12) < wait < timedelta(days=1.5)


def _move(rng: np.random.Generator, batches: list[Batch]) -> tuple[Batch, ...]:
    """Give each batch its moves: most to a bright tank, some on to the other, some none at all."""
    by_key = {b.key: b for b in batches}
    occupied: dict[str, list[tuple[datetime, datetime]]] = {tank: [] for tank in BRIGHT_TANKS}
    moved: dict[str, Batch] = {}
    for batch in sorted((b for b in batches if b.into), key=lambda b: b.pack_at):
        moved |= _move_blend(rng, batch, by_key[batch.into], occupied)
    for batch in sorted(batches, key=lambda b: b.pack_at):
        if batch.key not in moved:
            moved[batch.key] = _move_one(rng, batch, occupied)
    return tuple(moved[b.key] for b in batches)


def _free(occupied: dict[str, list[tuple[datetime, datetime]]], begins: datetime, ends: datetime) -> list[str]:
    return [t for t, taken in occupied.items() if all(ends <= a or b <= begins for a, b in taken)]


def _rack_at(rng: np.random.Generator, batch: Batch) -> datetime:
    return at_work(batch.pack_at - timedelta(hours=rng.uniform(16, 40)))


def _move_one(rng: np.random.Generator, batch: Batch, occupied: dict[str, list[tuple[datetime, datetime]]]) -> Batch:
    racked, clean = _rack_at(rng, batch), timedelta(hours=8)
    straight, twice, left = rng.random() < _STRAIGHT, rng.random() < _TWICE, rng.uniform(0.3, 0.6)
    tanks = _free(occupied, racked, batch.pack_at + clean)
    if straight or not tanks or racked >= batch.pack_at:
        return batch
    first = tanks[rng.integers(len(tanks))]
    move = Move(batch.number, batch.number, batch.fermenter, first, round(batch.volume - left, 1), racked)
    again = at_work(racked + (batch.pack_at - racked) * 0.5)
    others = [t for t in _free(occupied, again, batch.pack_at + clean) if t != first]
    if not (twice and others and racked < again < batch.pack_at):
        occupied[first].append((racked, batch.pack_at + clean))
        return replace(batch, moves=(move,))
    occupied[first].append((racked, again + clean))
    occupied[others[0]].append((again, batch.pack_at + clean))
    on = Move(batch.number, batch.number, first, others[0], round(move.volume - 0.2, 1), again)
    return replace(batch, moves=(move, on))


def _move_blend(
    rng: np.random.Generator, first: Batch, second: Batch, occupied: dict[str, list[tuple[datetime, datetime]]]
) -> dict[str, Batch]:
    receives = at_work(second.pack_at - timedelta(hours=42))
    racks = (receives + timedelta(minutes=90), receives)
    ends = second.pack_at + timedelta(hours=8)
    tanks = _free(occupied, receives, ends)
    if not tanks:
        return {first.key: _move_one(rng, replace(first, into=""), occupied)}
    tank = tanks[0]
    occupied[tank].append((receives, ends))
    batches = (replace(first, pack_at=second.pack_at), second)
    moves = [
        Move(b.number, second.number, b.fermenter, tank, round(b.volume - rng.uniform(0.3, 0.6), 1), at)
        for b, at in zip(batches, racks, strict=True)
    ]
    return {b.key: replace(b, moves=(m,)) for b, m in zip(batches, moves, strict=True)}
