"""What was done to each batch in the cellar, and when?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from data_demo.draws import at_work, stream
from data_demo.schedule import Batch
from data_demo.truth import CENTRES, NOW, PAIR, PINT_PER_BARREL

__all__ = ["Job", "Plan", "jobs", "plans"]

_CELLAR_HANDS = ("gk", "ow", "pr", "yd")
_ISINGLASS_SPREAD = 110.0
_SILICA_SPREAD = 17.0
_AUXILIARY_SCATTER = 8.0


@dataclass(frozen=True)
class Plan:
    """What the cellar means to do with a batch.

    ``isinglass``, ``silica_sol`` and ``auxiliary`` are doses [mL/hL], ``dry_hop`` is a rate [g/L], ``rouse_minutes``
    the sum over ``rouses``. ``air_bled`` says whether the hose was bled before every rouse of the batch.
    """

    rouse_minutes: int
    rouses: int
    air_bled: bool
    isinglass: float
    isinglass_doses: int
    silica_sol: float
    auxiliary: float
    dumps: int
    dry_hop: float
    hop_additions: int
    yeast_generation: int


@dataclass(frozen=True)
class Job:
    """One line of the cellar's work; ``amount`` is in ``unit`` and ``air_bled`` is known for a rouse alone."""

    key: str
    number: str
    vessel: str
    operation: str
    started_at: datetime
    ended_at: datetime | None = None
    amount: float | None = None
    unit: str = ""
    agent: str = ""
    air_bled: bool | None = None
    by: str = ""


def plans(batches: tuple[Batch, ...]) -> dict[str, Plan]:
    """Return each batch's plan by its key; within a recipe, only the pair's doses follow one another."""
    rng = stream("plans")
    return {batch.key: _plan(rng, batch) for batch in batches}


def _plan(rng: np.random.Generator, batch: Batch) -> Plan:
    recipe = batch.recipe
    rouses = int(rng.choice((1, 2, 3), p=(0.45, 0.40, 0.15)))
    pints = round(float(rng.normal(CENTRES["isinglass_dose"], _ISINGLASS_SPREAD)) / PINT_PER_BARREL, 2)
    silica = round(float(np.clip(rng.normal(CENTRES["silica_sol_dose"], _SILICA_SPREAD), 25, 100)), 0)
    return Plan(
        rouse_minutes=max(4 * rouses, round(float(rng.normal(recipe.rouse, recipe.rouse_spread)))),
        rouses=rouses,
        air_bled=bool(rng.random() < CENTRES["air_bled"]),
        isinglass=pints * PINT_PER_BARREL * recipe.fined,
        isinglass_doses=int(rng.choice((1, 2), p=(0.7, 0.3))) * recipe.fined,
        silica_sol=silica * recipe.fined,
        auxiliary=round(silica * PAIR.ratio + float(rng.normal(0, _AUXILIARY_SCATTER)), 0) * recipe.fined,
        dumps=int(rng.choice((1, 2, 3, 4, 5), p=(0.12, 0.22, 0.32, 0.22, 0.12))),
        dry_hop=max(0.5, round(float(rng.normal(recipe.dry_hop, recipe.dry_hop_spread)), 1)) * (recipe.dry_hop > 0),
        hop_additions=int(rng.choice((1, 2), p=(0.6, 0.4))) * (recipe.dry_hop > 0),
        yeast_generation=int(rng.integers(1, 9)),
    )


def jobs(batches: tuple[Batch, ...], planned: dict[str, Plan]) -> tuple[Job, ...]:
    """Return every job that was done before the books end, in the order of time."""
    rng = stream("jobs")
    done: list[Job] = []
    for batch in batches:
        plan = planned[batch.key]
        for work in (_hops, _chill, _dumps, _finings, _rouses, _gas):
            done.extend(work(rng, batch, plan))
    return tuple(sorted((job for job in done if job.started_at < NOW), key=lambda j: (j.started_at, j.key)))


def _job(
    rng: np.random.Generator, batch: Batch, operation: str, at: datetime, minutes: float | None = None, **more: object
) -> Job:
    ended = None if minutes is None else at + timedelta(minutes=minutes)
    by = _CELLAR_HANDS[rng.integers(len(_CELLAR_HANDS))]
    return Job(batch.key, batch.number, batch.fermenter, operation, at, ended, by=by, **more)  # type: ignore[arg-type]


def _hops(rng: np.random.Generator, batch: Batch, plan: Plan) -> list[Job]:
    """Dry hops by weight [kg], in one addition or two."""
    if not plan.hop_additions:
        return []
    kilograms = round(plan.dry_hop * batch.volume / 10, 2)
    first = round(kilograms * (1.0 if plan.hop_additions == 1 else 0.5), 2)
    at = at_work(batch.brewed_at + timedelta(days=rng.uniform(2.5, 3.5)))
    parts = [(at, first), (at_work(at + timedelta(hours=30)), round(kilograms - first, 2))][: plan.hop_additions]
    return [_job(rng, batch, "dry_hop", when, amount=part, unit="kg", agent="hops") for when, part in parts]


def _chill(rng: np.random.Generator, batch: Batch, _: Plan) -> list[Job]:
    return [_job(rng, batch, "chill", batch.chill_at)]


def _dumps(rng: np.random.Generator, batch: Batch, plan: Plan) -> list[Job]:
    """The cone's dumps: the last one to four days before packaging, the others before it while the beer is cold."""
    last = at_work(batch.pack_at - timedelta(hours=rng.uniform(50, 96)))
    begins = batch.brewed_at + timedelta(days=4)
    span = max(1.0, (last - begins) / timedelta(hours=1) - 8)
    earlier = sorted(rng.uniform(0, span, plan.dumps - 1))
    times = [at_work(begins + timedelta(hours=float(h))) for h in earlier] + [last]
    return [_job(rng, batch, "dump", t, float(rng.integers(5, 15))) for t in dict.fromkeys(times)]


def _finings(rng: np.random.Generator, batch: Batch, plan: Plan) -> list[Job]:
    """Auxiliary and silica sol some hours before the isinglass, which may be given in two halves a day apart."""
    if not plan.isinglass_doses:
        return []
    last = batch.settle_at - timedelta(minutes=float(rng.integers(40, 90)))
    starts = [last] if plan.isinglass_doses == 1 else [last - timedelta(hours=rng.uniform(24.5, 29)), last]
    before = starts[0].replace(second=0) - timedelta(hours=rng.uniform(4.5, 7))
    share = plan.isinglass / len(starts)
    dose = [_job(rng, batch, "finings", _minute(t), amount=share, unit="mL/hL", agent="isinglass") for t in starts]
    litres = round(plan.auxiliary * batch.volume / 1000, 2)
    return [
        _job(rng, batch, "finings", _minute(before), amount=litres, unit="L", agent="auxiliary"),
        _job(rng, batch, "finings", _minute(before) + timedelta(minutes=20), amount=plan.silica_sol, unit="mL/hL",
             agent="silica sol"),
        *dose,
    ]  # fmt: skip


def _minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0)


def _rouses(rng: np.random.Generator, batch: Batch, plan: Plan) -> list[Job]:
    """The rouses; the last is over when settling begins, on top of the finings or up to two days before them."""
    minutes = _parts(rng, plan.rouse_minutes, plan.rouses)
    on_finings = not plan.isinglass_doses or rng.random() < 0.6
    wait = 0.0 if on_finings else rng.uniform(12, 40)
    ends = batch.settle_at - timedelta(hours=wait)
    found = []
    for part in reversed(minutes):
        at = _minute(ends - timedelta(minutes=int(part)))
        found.append(_job(rng, batch, "rouse", at, float(part), air_bled=plan.air_bled))
        ends = at - timedelta(hours=rng.uniform(5, 14))
    return found


def _parts(rng: np.random.Generator, total: int, count: int) -> list[int]:
    """Split whole minutes into that many parts of at least 3."""
    cuts = np.floor(rng.dirichlet(np.full(count, 4.0)) * (total - 3 * count)).astype(int) + 3
    cuts[-1] += total - cuts.sum()
    return [int(c) for c in cuts]


def _gas(rng: np.random.Generator, batch: Batch, _: Plan) -> list[Job]:
    """The bright tank's carbonation, where somebody wrote it down."""
    if not batch.moves or rng.random() < 0.5:
        return []
    at = at_work(batch.moves[-1].moved_at + timedelta(hours=1))
    job = _job(rng, batch, "carbonate", at, 120.0)
    return [Job(**{**job.__dict__, "vessel": batch.packed_from})] if at < batch.pack_at else []
