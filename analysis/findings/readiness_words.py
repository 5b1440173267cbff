"""How is a tank's forecast told in words?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pandas as pd

from analysis.findings.cautions import CONFINED_SPACE, ISINGLASS, REFERMENTATION, Caution, in_sentences
from analysis.findings.readiness_check import Checked, TankHistory
from analysis.findings.readiness_result import Day
from analysis.findings.wording import amount, count, day, percent
from analysis.haze import Settling
from analysis.linking import PackTable

__all__ = ["answer_of", "cautions_of"]


def answer_of(
    key: str,
    recipe: str,
    days: Sequence[Day],
    ready_on: datetime | None,
    until: datetime | None,
    lower: float | None,
    upper: float | None,
    confidence: float,
    packed: bool,
) -> str:
    """Return the answer in a sentence; a batch that is packed is told of as it stood then."""
    name = f"Batch {key} ({recipe}{', packed since' if packed else ''})"
    today = days[0]
    now = f"its haze is expected to be {amount(today.expected, 'EBC')} on {day(today.at)}"
    if lower is None and upper is None:
        return f"{name} has no haze target on record; {now}."
    sure, target = f"{100 * confidence:.0f} % confidence", _target(lower, upper)
    if ready_on is None:
        best = max(days, key=lambda d: d.chance)
        return (
            f"{name} is not expected to meet {target} with {sure} within {len(days) - 1} days: at best the chance is "
            f"{100 * best.chance:.0f} %, on {day(best.at)}; {now}."
        )
    stays = f", until {day(until)}" if until else ""
    if ready_on == today.at:
        return f"{name} meets {target} with {sure} as of {day(ready_on)}{stays}; {now}."
    then = next(d for d in days if d.at == ready_on)
    return (
        f"{name} is expected to meet {target} with {sure} from {day(ready_on)} on{stays}: haze then "
        f"{amount(then.expected, 'EBC')}, a reading {amount(then.low)} to {amount(then.high, 'EBC')}."
    )


def _target(lower: float | None, upper: float | None) -> str:
    if lower is None:
        return f"its target of at most {amount(upper or 0.0, 'EBC')}"
    if upper is None:
        return f"its target of at least {amount(lower, 'EBC')}"
    return f"its target of {amount(lower)} to {amount(upper, 'EBC')}"


def cautions_of(
    table: PackTable,
    key: str,
    own: pd.DataFrame,
    fit: Settling,
    recipe: str,
    past: TankHistory,
) -> tuple[str, ...]:
    """Return what to know beside the forecast."""
    checked, ratio = past.checked, past.pack_over_tank
    said = [f"Fitted on {count(fit.readings, 'reading')} of {count(fit.batches, 'settling')} of the brewery's tanks."]
    if not len(own):
        said.append("The tank was not read since its last rouse or dose: the forecast is its recipe's alone.")
    if recipe not in fit.recipes:
        said.append("No tank of this recipe was read before: the forecast borrows from the other recipes.")
    if checked is not None:
        said.append(_checked(checked, len(own)))
    if ratio is not None and not ratio.low <= 1 <= ratio.high:
        said.append(
            f"Finished packs read {percent(100 * (ratio.value - 1))} against the tank at packing: a target of the pack "
            "is not quite one of the tank."
        )
    if past.read.not_exact:
        said.append(f"{count(past.read.not_exact, 'tank reading')} with “<” or “>” or of 0 could not be used.")
    said.append(
        "It cannot see what is not in the readings: a tank stirred again, warmed or moved, yeast that starts anew, and "
        "haze that comes only in the cold pack."
    )
    said.append(
        "What more of a practice goes with is told of finished packs of other batches, and no promise for this tank."
    )
    return (*said, *in_sentences(CONFINED_SPACE, *_of_the_batch(table, key)))


def _checked(checked: Checked, readings: int) -> str:
    """Return how the intervals did on batches left out, before any reading and after two."""
    unread, read = checked.unread, checked.read
    told = (
        f"On the last {count(read.batches, 'batch', 'batches')}, each left out of what foretold it, "
        f"{unread.held} of {unread.batches} intervals at {100 * read.level:.0f} % held before any reading and "
        f"{read.held} of {read.batches} after two"
    )
    if not (unread.often_enough and read.often_enough):
        return f"{told}: less often than stated, so trust them less."
    wider = checked.stretch(readings)
    since = f" This one is told {100 * (wider - 1):.0f} % wider for past misses." if wider >= 1.01 else ""
    return f"{told}: as often as stated.{since}"


def _of_the_batch(table: PackTable, key: str) -> tuple[Caution, ...]:
    """Return the cautions that what was done to the batch calls for."""
    own = table.operations[table.operations["batch"] == key]
    fish = own["agent"].fillna("").astype(str).str.contains("isinglass", case=False).any()
    hops = (own["operation"] == "dry_hop").any()
    return (*((ISINGLASS,) if fish else ()), *((REFERMENTATION,) if hops else ()))
