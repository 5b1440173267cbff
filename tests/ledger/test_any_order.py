"""Whatever the order of intakes, corrections, withdrawals and decisions: does the ledger agree with a plain model?

The model knows nothing of tables, keys or hashes: it keeps lists of rows, and reads off what stands thing by thing.
"""

from __future__ import annotations

import random
from collections import defaultdict
from typing import Any

import pytest

from analysis.ledger import Ledger, snapshot

FILES = ("log", "lab", "line")
NAMES = {"log": ("log.xlsx", "log v2.xlsx"), "lab": ("lab.csv", "lab (1).csv"), "line": ("line.ods", "line_v3.ods")}
COLUMNS = ("packed_at", "format", "line", "size")


class Model:
    """What stands, worked out from scratch each time."""

    def __init__(self) -> None:
        self.claims: list[tuple[int, str, tuple[Any, ...], tuple[Any, ...]]] = []  # intake, family, thing, values
        self.withdrawn: set[int] = set()
        self.decided: list[tuple[tuple[Any, ...], tuple[Any, ...], set[tuple[Any, ...]]]] = []

    def outcome(self) -> tuple[dict[Any, Any], dict[Any, set[Any]]]:
        """Return what stands of each thing, and the sides of each conflict."""
        latest: dict[Any, dict[str, tuple[int, set[Any]]]] = defaultdict(dict)
        for intake, family, thing, values in self.claims:
            if intake in self.withdrawn:
                continue
            last, said = latest[thing].get(family, (0, set()))
            latest[thing][family] = (intake, {values} | said if intake == last else {values})
        stands, conflicts = {}, {}
        for thing, by_family in latest.items():
            said = set().union(*(values for _, values in by_family.values()))
            said -= self._wrong(thing, said)
            merged = [{side[n] for side in said if side[n] is not None} for n in range(len(COLUMNS))]
            if all(len(cells) <= 1 for cells in merged):
                stands[thing] = tuple(next(iter(cells), None) for cells in merged)
            else:
                conflicts[thing] = said
        return stands, conflicts

    def _wrong(self, thing: Any, said: set[Any]) -> set[Any]:
        wrong: set[Any] = set()
        for of, kept, dismissed in self.decided:
            if of == thing and kept in said:
                wrong |= dismissed & said
        return wrong if said - wrong else set()


def _rows(chance: random.Random) -> list[dict[str, Any]]:
    """Return some rows of a few runs, each with some cells blank."""
    return [
        {
            "run": str(chance.randint(1, 4)),
            "batch": "2417",
            "packed_at": chance.choice(["2025-03-04 09:00", "2025-03-05 09:00"]) if chance.random() < 0.5 else None,
            "format": chance.choice(["can", "keg"]) if chance.random() < 0.3 else None,
            "line": "2" if chance.random() < 0.4 else None,
            "size": 330.0 if chance.random() < 0.4 else None,
        }
        for _ in range(chance.randint(1, 5))
    ]


def _cells(frame: Any) -> list[tuple[Any, tuple[Any, ...]]]:
    """Return the rows of a frame as the model has them."""
    rows = []
    for row in frame.astype(object).where(frame.notna(), None).to_dict("records"):
        moment = None if row["packed_at"] is None else f"{row['packed_at']:%Y-%m-%d %H:%M}"
        rows.append(((row["run"], row["batch"]), (moment, row["format"], row["line"], row["size"])))
    return rows


def _compare(ledger: Ledger, model: Model, state: int | None = None) -> None:
    stands, conflicts = model.outcome()
    shot = snapshot(ledger, state)
    rows = _cells(shot.frame("pack_runs"))
    assert len(rows) == len(stands)
    assert dict(rows) == stands
    sides: dict[Any, list[Any]] = defaultdict(list)
    for thing, values in _cells(shot.in_conflict("pack_runs")):
        sides[thing].append(values)
    assert {thing: len(said) for thing, said in sides.items()} == {
        thing: len(said) for thing, said in conflicts.items()
    }
    assert {thing: set(said) for thing, said in sides.items()} == conflicts
    numbers = shot.in_conflict("pack_runs").groupby("conflict")["run"].nunique()
    assert (numbers == 1).all()
    assert len(numbers) == len(conflicts)


def _step(ledger: Ledger, model: Model, chance: random.Random, offer: Any, number: int) -> None:
    """Do one thing to both."""
    active = sorted({claim[0] for claim in model.claims} - model.withdrawn)
    does = chance.choice(["commit"] * 4 + ["withdraw"] * 2 + ["resolve"])
    if does == "withdraw" and active:
        intake = chance.choice(active)
        ledger.withdraw(intake, "chance", "Ines")
        model.withdrawn.add(intake)
    elif does == "resolve" and (open_ones := ledger.conflicts()):
        conflict = chance.choice(open_ones)
        kept = chance.choice(conflict.claims)
        ledger.resolve(conflict, kept, "chance", "Ines")
        sides = {claim.record: _values(claim.values) for claim in conflict.claims}
        thing = (kept.values["run"], kept.values["batch"])
        model.decided.append((thing, sides[kept.record], set(sides.values()) - {sides[kept.record]}))
    else:
        family = chance.choice(FILES)
        rows = _rows(chance)
        done = ledger.commit(offer(chance.choice(NAMES[family]), f"sha {number}", pack_runs=rows), "Ines")
        assert done.intake is not None
        assert done.counts["pack_runs"].rows == len(rows)
        for row in rows:
            values = tuple(row[name] for name in COLUMNS)
            model.claims.append((done.intake, family, (row["run"], row["batch"]), values))


def _values(values: Any) -> tuple[Any, ...]:
    moment = None if values["packed_at"] is None else f"{values['packed_at']:%Y-%m-%d %H:%M}"
    return (moment, values["format"], values["line"], values["size"])


def _story(ledger: Ledger, offer: Any, seed: int, steps: int) -> None:
    chance, model = random.Random(seed), Model()
    seen = []
    for number in range(steps):
        _step(ledger, model, chance, offer, number)
        _compare(ledger, model)
        seen.append((ledger.state, model.outcome()))
    for state, (stands, _) in seen:
        assert dict(_cells(snapshot(ledger, state).frame("pack_runs"))) == stands


@pytest.mark.parametrize("seed", range(4))
def test_any_order(ledger: Ledger, offer, seed: int):
    _story(ledger, offer, seed, steps=14)
