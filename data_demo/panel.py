"""How did the panel score the beer as it aged, and could it tell two runs apart?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from data_demo.draws import stream
from data_demo.packaging import Run
from data_demo.truth import NOW, OXYGEN_SHIFT, PANEL, TASTE, TRIANGLES, Taster

__all__ = ["Score", "Triangle", "scores", "triangles"]

_TASTED = 60
_LEAST_PRESENT = 5
_SESSION_SPREAD = 0.25


@dataclass(frozen=True)
class Score:
    """One panellist's score of one attribute, 0 to 9."""

    run: Run
    tasted_on: date
    taster: Taster
    attribute: str
    score: int


@dataclass(frozen=True)
class Triangle:
    """A triangle test of two runs."""

    run: Run
    other: Run
    tasted_on: date
    tasters: int
    correct: int


def scores(runs: tuple[Run, ...]) -> tuple[Score, ...]:
    """Return the panel's scores: some runs fresh, half of them again when weeks old."""
    rng = stream("panel")
    packed = [run for run in runs if run.form.headspace]
    found: list[Score] = []
    for place, run in enumerate(packed[:: max(1, len(packed) // _TASTED)]):
        ages = [int(rng.integers(7, 15))] + ([int(rng.integers(40, 95))] if place % 2 else [])
        for age in ages:
            tasted_on = run.packed_at.date() + timedelta(days=age)
            if tasted_on < NOW.date():
                found.extend(_session(rng, run, tasted_on, age))
    return tuple(sorted(found, key=lambda s: s.tasted_on))


def _session(rng: np.random.Generator, run: Run, tasted_on: date, age: int) -> list[Score]:
    present = rng.permutation(len(PANEL))[: int(rng.integers(_LEAST_PRESENT, len(PANEL) + 1))]
    levels = _levels(run, age)
    session = {attribute: rng.normal(0, _SESSION_SPREAD) for attribute in levels}
    found = []
    for place in sorted(present):
        taster = PANEL[place]
        for attribute, (fresh, aged) in levels.items():
            felt = fresh + taster.notices * aged + taster.offset + session[attribute] + rng.normal(0, taster.spread)
            found.append(Score(run, tasted_on, taster, attribute, int(np.clip(round(float(felt)), 0, 9))))
    return found


def _levels(run: Run, age: int) -> dict[str, tuple[float, float]]:
    """Return each attribute's level in a fresh pack and what age and oxygen have added to it."""
    months = age / 30 * run.oxygen / 80
    levels = {t.attribute: (t.fresh or run.recipe.hops, t.per_month * months) for t in TASTE}
    return levels | {"clarity": (float(np.clip(8.0 - 1.5 * np.log(run.haze / 0.5), 0, 9)), 0.0)}


def triangles(runs: tuple[Run, ...]) -> tuple[Triangle, ...]:
    """Return triangle tests: runs of the oxygen shift against runs before it, and pairs of ordinary runs."""
    rng = stream("difference tests")
    cans = [r for r in runs if r.form.line == OXYGEN_SHIFT.line and r.recipe.code == "P40"]
    before = [r for r in cans if r.packed_at.date() < OXYGEN_SHIFT.begins]
    during = [r for r in cans if OXYGEN_SHIFT.begins <= r.packed_at.date() < OXYGEN_SHIFT.repaired]
    found = []
    for place, truth in enumerate(TRIANGLES):
        run, other = (during[place], before[-1 - place]) if truth.shifted else (before[place], before[place + 1])
        chance = 1 / 3 + truth.distinguishers * 2 / 3
        on = max(run.packed_at, other.packed_at).date() + timedelta(days=42)
        found.append(Triangle(run, other, on, truth.tasters, int(rng.binomial(truth.tasters, chance))))
    return tuple(sorted(found, key=lambda t: t.tasted_on))
