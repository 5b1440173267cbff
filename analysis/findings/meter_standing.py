"""Which readings does a decision about a meter touch, and have the checks changed their mind since?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from analysis.findings.meter_bias import MeterBias, bias_in_words
from analysis.findings.meter_correction import MeterTreatment, Touched, Treatment, covered, treated
from analysis.findings.meter_decisions import ChecksThen, MeterDecision
from analysis.findings.wording import amount, count, day, percent_of_ratio
from analysis.vocabulary import measure as measure_of

__all__ = ["Standing", "moved_again", "off_in_words", "period_in_words", "standing_decisions"]


@dataclass(frozen=True)
class Standing:
    """A decision that stands: how many readings on record it touches, what it does, and how its checks went on.

    ``course`` says what the checks said then and say now, and where that leaves what was decided.
    """

    decision: MeterDecision
    readings: int
    says: str
    course: str

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        return {**self.decision.as_document(), "readings": self.readings, "says": self.says, "course": self.course}


def standing_decisions(
    decisions: Iterable[MeterDecision], readings: pd.DataFrame, meters: Iterable[MeterBias], state: int
) -> tuple[Standing, ...]:
    """Return the decisions that stand with what they do now.

    Parameters
    ----------
    decisions : iterable of MeterDecision
        Those that were taken back are left out.
    readings : DataFrame
        As the ledger keeps them.
    meters : iterable of MeterBias
        What the checks say of each meter now.
    state : int
        The ledger's state, which the checks are those of.
    """
    biases = {(m.meter, m.measure.name): m for m in meters}
    standing = [one for one in decisions if one.taken_back is None]
    counts = {(one.what.meter, one.what.quantity): one.number for one in standing}
    found = []
    for one in standing:
        key = one.what.meter, one.what.quantity
        if counts[key] != one.number:
            found.append(Standing(one, 0, f"It does nothing: decision {counts[key]}, made later, counts.", ""))
            continue
        (touched,) = treated(readings, [one.what], biases.values())[1]
        told = _course(one, touched, biases.get(key), state)
        found.append(Standing(one, len(touched.records), _says(touched), told))
    return tuple(found)


def off_in_words(touched: Touched) -> str:
    """Return by how much the meter read wrongly, such as ``up to 22.6 % too high``; "" where nothing is known."""
    said = []
    if touched.off:
        share = percent_of_ratio(touched.off)
        said.append(f"{amount(abs(share), '%')} too {'high' if share > 0 else 'low'}")
    if touched.off_zero:
        unit = measure_of(touched.treatment.quantity).unit
        said.append(f"{amount(abs(touched.off_zero), unit)} too {'high' if touched.off_zero > 0 else 'low'} at zero")
    return f"{'up to ' if touched.varies and said else ''}{' and '.join(said)}"


def period_in_words(touched: Touched, *, ended: bool) -> str:
    """Return from when to when the touched readings were made, "" where there is none and no day was told.

    ``ended`` says that the meter made further readings, which are not touched.
    """
    first, last = (touched.at.min(), touched.at.max()) if len(touched.at) else (None, None)
    since = touched.treatment.since or (None if first is None else first.date())
    until = touched.treatment.until or (last.date() if last is not None and ended else None)
    if since is None:
        return ""
    return f" since {day(since)}" if until is None else f" from {day(since)} to {day(until)}"


def _says(touched: Touched) -> str:
    what, number = touched.treatment, len(touched.records)
    if not number:
        return f"No reading on record is {what.treatment} by it{_why_none(what)}."
    wrong = off_in_words(touched)
    said = (
        f"{count(number, 'reading')}{period_in_words(touched, ended=what.until is not None)} "
        f"{'is' if number == 1 else 'are'} {what.treatment}{f', as the meter read {wrong}' if wrong else ''}."
    )
    below = touched.below_nothing
    if below:
        said += f" {below:,} of them would come out at or below 0 and {_is(below)} left out."
    return said


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


def _why_none(what: MeterTreatment) -> str:
    if what.treatment is Treatment.SET_ASIDE and what.since is not None:
        return ": the meter has read nothing in those days"
    return ": the checks on record show no time in which the meter was off and read something"


def _course(one: MeterDecision, touched: Touched, bias: MeterBias | None, state: int) -> str:
    """Return how the checks went on since the decision."""
    then = one.checks
    if one.what.treatment is Treatment.SET_ASIDE and one.what.since is not None:
        return (
            "It holds whatever the checks say."
            if bias is None
            else f"It holds whatever the checks say. {bias.sentence}"
        )
    if bias is None or then is None:
        return "No check of this meter is on record any more, and it takes checks to say when it was off."
    told = bias.worst
    now = ChecksThen(
        str(bias.state), told.since.date() if told.since else None, told.bias[0], told.bias_unit, bias.checks
    )
    follows = f" What it does follows the checks on record (state {state} of the ledger), not those of that day."
    if (now.state, now.since, now.checks) == (then.state, then.since, then.checks):
        return f"Its checks say the same as on the day of the decision: {_checks(then)}.{follows}"
    back = " It has come back: later readings are used as they were read." if _back(touched, bias) else ""
    again = moved_again(one, bias)
    if again is not None:
        back = (
            f" It came back and moved again about {day(again)}, of which this decision is no part: take it back and "
            "decide anew."
        )
    return f"On the day of the decision its checks said {_checks(then)}; now they say {_checks(now)}.{back}{follows}"


def moved_again(one: MeterDecision, bias: MeterBias) -> datetime | None:
    """Return when a meter first moved again after it came back from what was decided about; None where it did not."""
    later = [
        checked.moment(episode.begins)
        for checked in (bias.span, bias.zero)
        if checked is not None
        for episode in checked.episodes[len(covered(checked, one.at)) :]
    ]
    return min((moment for moment in later if moment is not None), default=None)


def _back(touched: Touched, bias: MeterBias) -> bool:
    """Return whether every time in which the meter was off has ended."""
    every = [one for checked in (bias.span, bias.zero) if checked is not None for one in checked.episodes]
    return bool(len(touched.records)) and all(math.isfinite(one.until) for one in every)


def _checks(told: ChecksThen) -> str:
    since = f" since about {day(told.since)}" if told.since else ""
    off = f", {bias_in_words(told.bias, told.unit)} off at the last of them" if math.isfinite(told.bias) else ""
    return f"{told.state}{since}{off} ({count(told.checks, 'check')})"
