"""Where does oxygen get in on the way to the closed pack?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.estimate import Estimate
from analysis.findings.cautions import CARBON_DIOXIDE, CONFINED_SPACE, PERACETIC_ACID, PRESSURE, in_sentences
from analysis.findings.filters import Filters
from analysis.findings.late_packs import late_packs
from analysis.findings.oxygen_limits import OwnLimit
from analysis.findings.oxygen_steps import LEVELS, STEPS, OxygenSteps, oxygen_steps
from analysis.findings.pickup_points import PointPassed, limit_in_words, points_passed
from analysis.findings.pickup_practices import among_all, practice_rises
from analysis.findings.pickup_result import UNIT, Balance, Level, PickupFinding, Step
from analysis.findings.pickup_rises import group_rises, rise
from analysis.findings.wording import amount, change, count, span
from analysis.linking import PackTable

__all__ = ["Balance", "Level", "PickupFinding", "Step", "pickup"]

_QUESTION = "Where does oxygen get in on the way to the closed pack?"
_BY = ("recipe", "tank", "line", "format")
_FEWEST = 3


def pickup(table: PackTable, filters: Filters | None = None, limits: Sequence[OwnLimit] = ()) -> PickupFinding:
    """Return where oxygen gets in.

    Parameters
    ----------
    table : PackTable
    filters : Filters, optional
        Everything where it is not given. Dates are those of packing; a batch that is not packed has none.
    limits : sequence of OwnLimit
        What the brewery decided is good at points of the way.
    """
    chosen = filters if filters is not None else Filters()
    steps = _selected(table, oxygen_steps(table), chosen)
    told = tuple(one for step in STEPS if (one := _step(step, steps.rises, table)).batches)
    practices = among_all([step.practices for step in told])
    told = tuple(replace(step, practices=own) for step, own in zip(told, practices, strict=True))
    points, balance = points_passed(steps, table.targets, limits), _balance(steps)
    return PickupFinding(
        question=_QUESTION,
        answer=_answer(told, points, balance),
        cautions=(*table.remarks_on("dissolved_oxygen", "total_oxygen"), *_cautions(told, points, balance)),
        ledger_state=table.state,
        filters=chosen,
        levels=_levels(steps.levels),
        steps=told,
        points=points,
        balance=balance,
        late=late_packs(chosen.apply(table.rows) if len(table.rows) else table.rows),
    )


def _selected(table: PackTable, steps: OxygenSteps, filters: Filters) -> OxygenSteps:
    if filters == Filters():
        return steps
    kept = filters.apply(table.rows) if len(table.rows) else table.rows
    runs, batches = set(kept["run"]), set(kept["batch"])

    def within(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[np.where(frame["run"].notna(), frame["run"].isin(runs), frame["batch"].isin(batches))]

    return OxygenSteps(within(steps.rises), within(steps.levels))


def _step(name: str, rises: pd.DataFrame, table: PackTable) -> Step:
    own = rises[rises["step"] == name]
    most = own["upper"].fillna(own["low"]).groupby(own["batch"]).mean()
    return Step(
        step=name,
        label=STEPS[name],
        batches=own["batch"].nunique(),
        rise=rise(own) if len(own) else None,
        falls=int((most < 0).sum()),
        two_meters=int((own["meters"] == 2).sum()),
        groups=group_rises(own, _BY) if len(own) else (),
        practices=practice_rises(name, own, table),
    )


def _levels(levels: pd.DataFrame) -> tuple[Level, ...]:
    found = []
    for stage, label in LEVELS.items():
        own = levels[levels["stage"] == stage]
        if not len(own):
            continue
        by_batch = own.groupby("batch")["value"].mean()
        low, middle, high = (float(v) for v in by_batch.quantile([0.25, 0.5, 0.75]))
        below = int((own["censored"] < 0).groupby(own["batch"]).any().sum())
        found.append(Level(stage, label, len(by_batch), middle, low, high, below))
    return tuple(found)


def _balance(steps: OxygenSteps) -> Balance | None:
    """Return the balance over the batches read at the filler and in the pack; None below three of them."""
    levels = steps.levels
    by_run = levels[levels["run"].notna()].pivot_table(index=["batch", "run"], columns="stage", values="value")
    if not {"filler", "pack"} <= set(by_run.columns):
        return None
    both = by_run.dropna(subset=["filler", "pack"]).groupby("batch")[["filler", "pack"]].mean()
    if len(both) < _FEWEST:
        return None
    before = levels[levels["stage"].isin(["fermenter", "bright_tank"])]
    last = before.drop_duplicates("batch", keep="last").set_index("batch")["value"]
    return Balance(
        batches=len(both),
        pack=float(both["pack"].mean()),
        in_tank=float(last.reindex(both.index).mean()),
        at_filler=float(both["filler"].mean()),
        closing=float((both["pack"] - both["filler"]).mean()),
        accounted=_ratio(both["filler"].to_numpy(float), both["pack"].to_numpy(float)),
    )


def _ratio(part: np.ndarray, whole: np.ndarray) -> Estimate:
    """Return the ratio of two means over batches with its interval by the delta method."""
    value = float(part.mean() / whole.mean())
    error = float((part - value * whole).std(ddof=1)) / (math.sqrt(part.size) * float(whole.mean()))
    return Estimate(value, value - 1.96 * error, value + 1.96 * error, "", error)


def _answer(steps: Sequence[Step], points: Sequence[PointPassed], balance: Balance | None) -> str:
    told = [(step, step.rise) for step in steps if step.rise is not None]
    if not told:
        return "Too few batches were read before and after any step to say where oxygen gets in."
    step, largest = max(told, key=lambda pair: pair[1].value)
    parts = [
        f"The largest rise is {step.label}: {change(largest.value, UNIT)} "
        f"({span(largest.low, largest.high, UNIT)}, {count(step.batches, 'batch', 'batches')})."
    ]
    if points and points[0].passed:
        most = points[0]
        whose = "your target" if most.own_target else "the working target"
        parts.append(
            f"Passed most often: {most.limit.label}, above {whose} of {limit_in_words(most)} in {most.passed} of "
            f"{count(most.batches, 'batch', 'batches')} ({100 * most.share:.0f} %)."
        )
    if balance is not None:
        parts.append(
            f"Of the {amount(balance.pack, UNIT)} in a pack the readings up to the filler account for "
            f"{100 * balance.accounted.value:.0f} %."
        )
    return " ".join(parts)


def _opposed(steps: Sequence[Step]) -> str:
    """Return the label of a practice that holds at two steps with opposite signs, "" where none does."""
    held = [(p.practice, p.label.rstrip("?"), p.difference.value > 0) for s in steps for p in s.practices if p.holds]
    return next((label for name, label, up in held if any(name == n and up != other for n, _, other in held)), "")


def _cautions(steps: Sequence[Step], points: Sequence[PointPassed], balance: Balance | None) -> tuple[str, ...]:
    said = []
    fell = sum(step.falls for step in steps)
    if fell:
        said.append(
            f"In {count(fell, 'step')} of a batch oxygen fell. Beyond the readings' own scatter a fall is consumption "
            "by yeast, and hides what came in at the same time: a rise is a lower bound of what came in."
        )
    if any(step.two_meters for step in steps):
        said.append("Where two meters read the two ends of a step, their difference is in the rise: see the meters.")
    if any(step.practices for step in steps):
        said.append("A practice is compared within recipes and with no other practice beside it: see the practices.")
    if opposed := _opposed(steps):
        said.append(
            f"{opposed} goes with less over one step and with more over another: oxygen that came in at the first and "
            "was gone by the next stands in both, with opposite signs."
        )
    if any(not point.own_target for point in points):
        said.append("Working targets are from memory, to start from: set your own, on the page Oxygen.")
    if balance is not None:
        said.append(
            "What comes in between the filler and the closed pack is in beer and headspace together, and no reading "
            "before the pack sees it."
        )
    return (*said, *in_sentences(CARBON_DIOXIDE, PRESSURE, CONFINED_SPACE, PERACETIC_ACID))
