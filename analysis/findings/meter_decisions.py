"""What did people decide about the readings of a meter that has moved, why, and does it still stand?

A decision keeps what is to be done, for which readings and why. By how much readings are set right is not kept: it
follows the checks on record, so that a later check makes the size better. What the checks said on the day of the
decision is kept beside it, so that a change of the meter's course can be told.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd

from analysis.findings.meter_bias import MeterBias
from analysis.findings.meter_correction import MeterTreatment, Treatment, moved_meters
from analysis.findings.wording import day
from analysis.ledger import JournalEntry, Ledger, TakenBack

__all__ = [
    "SUBJECT",
    "ChecksThen",
    "MeterDecision",
    "decide_meter",
    "decision_of",
    "in_force",
    "meter_decisions",
    "take_back_meter",
    "why_not",
]

SUBJECT = "meter"


@dataclass(frozen=True)
class ChecksThen:
    """What a meter's checks said when a decision was made.

    ``state`` is how the meter behaved, ``since`` when that began (None where it never changed), ``bias`` by how much it
    read wrongly at its last check [``unit``], ``checks`` how many there were.
    """

    state: str
    since: date | None
    bias: float
    unit: str
    checks: int


@dataclass(frozen=True)
class MeterDecision:
    """One decision about a meter's readings; ``taken_back`` is None while it stands."""

    number: int
    what: MeterTreatment
    checks: ChecksThen | None
    because: str
    by: str
    at: datetime
    state: int
    taken_back: TakenBack | None

    def as_document(self) -> dict[str, object]:
        """Return the decision as a JSON document has it."""
        back = self.taken_back
        return {
            "number": self.number, **_content(self.what, self.checks), "because": self.because, "by": self.by,
            "at": self.at.isoformat(timespec="minutes"), "ledger_state": self.state,
            "taken_back": None if back is None else {
                "because": back.because, "by": back.by, "at": back.at.isoformat(timespec="minutes"),
                "ledger_state": back.state,
            },
        }  # fmt: skip


def decide_meter(
    ledger: Ledger,
    what: MeterTreatment,
    because: str,
    by: str,
    meters: Iterable[MeterBias],
    at: datetime | None = None,
) -> MeterDecision:
    """Write down what is to be done with a meter's readings, and return the decision.

    Parameters
    ----------
    ledger : Ledger
    what : MeterTreatment
        The meter and quantity as its checks name them, and what is to be done.
    because, by : str
        Why, and who decides.
    meters : iterable of MeterBias
        What the checks say of each meter now.
    at : datetime, optional
        When; now by default.

    Raises
    ------
    ValueError
        If it cannot be done, as ``why_not`` says, or if ``because`` or ``by`` is empty.
    """
    found = tuple(meters)
    why = why_not(what, meter_decisions(ledger), found)
    if why is not None:
        raise ValueError(
            f"decide_meter: what must be something that can be done, got {what.meter} to be {what.treatment}: {why}"
        )
    bias = _bias(what, found)
    entry = ledger.decide(SUBJECT, _content(what, _checks_now(bias)), because, by, at)
    return decision_of(entry)


def why_not(what: MeterTreatment, standing: Iterable[MeterDecision], meters: Iterable[MeterBias]) -> str | None:
    """Return in a sentence why something cannot be decided about a meter; None where it can.

    Parameters
    ----------
    what : MeterTreatment
    standing : iterable of MeterDecision
        The decisions that stand.
    meters : iterable of MeterBias
        What the checks say of each meter now.
    """
    before = next((one for one in standing if _key(one.what) == _key(what)), None)
    if before is not None:
        done = f"The readings of {what.meter} are {before.what.treatment} already, by decision {before.number}"
        return f"{done}: take that back first."
    if what.since is not None and what.until is not None and what.until < what.since:
        return f"The last day, {day(what.until)}, lies before the first, {day(what.since)}."
    bias = _bias(what, meters)
    if bias is not None and moved_meters([bias]):
        return None
    if what.treatment is Treatment.SET_RIGHT:
        return f"The checks of {what.meter} do not show that it has moved: they do not say by how much to set it right."
    if what.since is None:
        return f"The checks of {what.meter} do not show since when it has moved: say from which day to set it aside."
    return None


def take_back_meter(ledger: Ledger, number: int, because: str, by: str, at: datetime | None = None) -> MeterDecision:
    """Take a decision about a meter back: its readings count again as they were read.

    Raises
    ------
    ValueError
        If no decision about a meter has that number, if it was taken back before, or if ``because`` or ``by`` is empty.
    """
    every = {one.number for one in meter_decisions(ledger, standing=False)}
    if number not in every:
        standing = [str(one.number) for one in meter_decisions(ledger)]
        allowed = f"one of {', '.join(standing)}" if standing else "one that stands: there is none"
        raise ValueError(f"take_back_meter: number must be that of a decision about a meter, {allowed}, got {number}")
    return decision_of(ledger.take_back(number, because, by, at))


def meter_decisions(ledger: Ledger, *, standing: bool = True) -> tuple[MeterDecision, ...]:
    """Return the decisions about meters in the order in which they were made; those that stand, or all."""
    return tuple(decision_of(entry) for entry in ledger.journal(SUBJECT, standing=standing))


def in_force(decisions: Iterable[MeterDecision], state: int) -> tuple[MeterDecision, ...]:
    """Return those of all decisions that stood in a state of the ledger."""
    return tuple(
        one for one in decisions if one.state <= state and (one.taken_back is None or one.taken_back.state > state)
    )


def decision_of(entry: JournalEntry) -> MeterDecision:
    """Return the decision that an entry of the journal holds."""
    told = entry.content
    what = MeterTreatment(
        str(told["meter"]), str(told["quantity"]), Treatment(str(told["treatment"])), _day(told.get("since")),
        _day(told.get("until")), entry.at,
    )  # fmt: skip
    then = told.get("checks")
    checks = _checks_then(then) if isinstance(then, Mapping) else None
    return MeterDecision(entry.number, what, checks, entry.because, entry.by, entry.at, entry.state, entry.taken_back)


def _key(what: MeterTreatment) -> tuple[str, str]:
    return what.meter, what.quantity


def _bias(what: MeterTreatment, meters: Iterable[MeterBias]) -> MeterBias | None:
    return next((m for m in meters if (m.meter, m.measure.name) == _key(what)), None)


def _checks_now(bias: MeterBias | None) -> ChecksThen | None:
    if bias is None:
        return None
    told = bias.worst
    since = None if told.since is None else told.since.date()
    return ChecksThen(str(bias.state), since, told.bias[0], told.bias_unit, bias.checks)


def _content(what: MeterTreatment, checks: ChecksThen | None) -> dict[str, object]:
    return {
        "meter": what.meter, "quantity": what.quantity, "treatment": str(what.treatment),
        "since": _iso(what.since), "until": _iso(what.until),
        "checks": None if checks is None else {
            "state": checks.state, "since": _iso(checks.since), "bias": _number(checks.bias), "unit": checks.unit,
            "checks": checks.checks,
        },
    }  # fmt: skip


def _checks_then(told: Mapping[str, object]) -> ChecksThen:
    bias, checks = told.get("bias"), told.get("checks")
    return ChecksThen(
        str(told.get("state", "")), _day(told.get("since")),
        float(bias) if isinstance(bias, int | float) else math.nan, str(told.get("unit", "")),
        int(checks) if isinstance(checks, int | float) else 0,
    )  # fmt: skip


def _iso(told: date | None) -> str | None:
    return None if told is None else told.isoformat()


def _day(told: object) -> date | None:
    return pd.Timestamp(told).date() if isinstance(told, str) else None


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
