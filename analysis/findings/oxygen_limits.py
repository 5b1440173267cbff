"""How much oxygen is good at each point of the way, by the brewery's own decision or to start from?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from analysis.findings.wording import amount, day
from analysis.ledger import JournalEntry, Ledger
from analysis.linking.beer_solubility import SETTINGS

__all__ = ["WORKING_LIMITS", "OwnLimit", "WorkingLimit", "give_up_limit", "oxygen_limits", "set_limit"]

_SETTING = "oxygen_limit"


@dataclass(frozen=True)
class WorkingLimit:
    """What is good and what calls for action at a point [µg/L], a rise or a level."""

    point: str
    label: str
    kind: str
    good: float
    act: float

    @property
    def sentence(self) -> str:
        """The limit in a sentence that says that it is one to start from."""
        return (
            f"{self.label[:1].upper()}{self.label[1:]}: good up to {amount(self.good, 'µg/L')}, action from "
            f"{amount(self.act, 'µg/L')}, a working target to start from."
        )


WORKING_LIMITS = (
    WorkingLimit("fermenter", "end of fermentation", "level", 30, 50),
    WorkingLimit("rouse", "a rouse", "rise", 20, 30),
    WorkingLimit("racking", "the transfer to the bright tank", "rise", 20, 30),
    WorkingLimit("bright_tank", "bright tank", "level", 30, 50),
    WorkingLimit("closing", "filling and closing", "rise", 50, 100),
    WorkingLimit("pack", "the closed pack", "level", 100, 150),
)
"""Working targets from memory, of low to medium confidence: settings to start from, never law."""


@dataclass(frozen=True)
class OwnLimit:
    """What the brewery decided is good and calls for action at a point [µg/L]: who, when and why."""

    point: str
    good: float
    act: float
    by: str
    at: datetime
    because: str

    @property
    def sentence(self) -> str:
        """The limit in a sentence that says whose it is."""
        label = next(limit.label for limit in WORKING_LIMITS if limit.point == self.point)
        return (
            f"{label[:1].upper()}{label[1:]}: good up to {amount(self.good, 'µg/L')}, action from "
            f"{amount(self.act, 'µg/L')}, set by {self.by} on {day(self.at)}: {self.because.rstrip('.')}."
        )


def oxygen_limits(ledger: Ledger) -> tuple[OwnLimit, ...]:
    """Return the limits that stand, the last decided of each point, in the order of the beer's way."""
    last = {str(entry.content["point"]): _of(entry) for entry in _entries(ledger)}
    return tuple(last[limit.point] for limit in WORKING_LIMITS if limit.point in last)


def set_limit(
    ledger: Ledger, point: str, good: float, act: float, because: str, by: str, at: datetime | None = None
) -> OwnLimit:
    """Decide what is good and calls for action at a point; the ledger's journal keeps it.

    Raises
    ------
    ValueError
        If there is no such point, the limits are not above 0 with ``act`` at least ``good``, or nobody or no reason is
        named.
    """
    known = [limit.point for limit in WORKING_LIMITS]
    if point not in known:
        raise ValueError(f"set_limit: point must be one of {', '.join(known)}, got {point!r}")
    if not 0 < good <= act < 20_000:
        raise ValueError(f"set_limit: good and act must be above 0, and act at least good, got {good} and {act}")
    content = {"setting": _SETTING, "point": point, "good": good, "act": act}
    return _of(ledger.decide(SETTINGS, content, because, by, at))


def give_up_limit(ledger: Ledger, point: str, because: str, by: str, at: datetime | None = None) -> None:
    """Take back the limit that stands for a point; the one decided before it stands again, or a target or working one.

    Raises
    ------
    ValueError
        If none stands, or nobody or no reason is named.
    """
    own = [entry for entry in _entries(ledger) if entry.content["point"] == point]
    if not own:
        raise ValueError(f"give_up_limit: point must have a limit that was decided, got {point!r}")
    ledger.take_back(own[-1].number, because, by, at)


def _entries(ledger: Ledger) -> tuple[JournalEntry, ...]:
    return tuple(entry for entry in ledger.journal(SETTINGS) if entry.content.get("setting") == _SETTING)


def _of(entry: JournalEntry) -> OwnLimit:
    content = entry.content
    good, act = (float(str(content[name])) for name in ("good", "act"))
    return OwnLimit(str(content["point"]), good, act, entry.by, entry.at, entry.because)
