"""How much oxygen does this brewery take its beer to dissolve, for each part that water does?

Meters respond to partial pressure and mostly tell what water would hold at it; beer holds a little less. By how much is
a setting of the brewery's, one for all of its beer, and water's own figure until somebody sets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from analysis.findings.wording import amount, day
from analysis.ledger import JournalEntry, Ledger
from analysis.linking.beer_solubility import FACTOR_SETTING, SETTINGS, factor_entry

__all__ = ["HIGHEST", "LOWEST", "WATER", "BeerFactor", "beer_factor", "give_up_factor", "set_factor"]

LOWEST, HIGHEST = 0.5, 1.2
"""The range in which a factor is believed: common practice, no source."""


@dataclass(frozen=True)
class BeerFactor:
    """The factor, and who set it when and why; ``by`` is "" where it is the default, water's."""

    value: float = 1.0
    by: str = ""
    at: datetime | None = None
    because: str = ""

    def __post_init__(self) -> None:
        if not LOWEST <= self.value <= HIGHEST:
            raise ValueError(f"BeerFactor: value must lie between {LOWEST} and {HIGHEST}, got {self.value}")

    @property
    def is_default(self) -> bool:
        """Whether nobody has set it."""
        return not self.by

    @property
    def sentence(self) -> str:
        """The factor in a sentence that says that it is a setting, and whose."""
        if self.is_default:
            return (
                "Beer is taken to dissolve as much oxygen as water, factor 1.00: the default, not a measurement. It "
                "dissolves a little less; set your own factor if you know it."
            )
        told = f"Beer is taken to dissolve {amount(self.value)} times as much oxygen as water"
        when = f" on {day(self.at)}" if self.at is not None else ""
        return f"{told}: a setting by {self.by}{when}, because {self.because.rstrip('.')}."

    def as_document(self) -> dict[str, object]:
        """Return the factor as a JSON document has it."""
        return {
            "value": self.value, "is_default": self.is_default, "set_by": self.by or None,
            "set_at": None if self.at is None else self.at.isoformat(timespec="seconds"),
            "because": self.because or None,
        }  # fmt: skip


WATER = BeerFactor()
"""The default: water's own solubility."""


def beer_factor(ledger: Ledger) -> BeerFactor:
    """Return the factor that stands: the last that was set and not taken back, else water's."""
    entry = factor_entry(ledger)
    return WATER if entry is None else _of(entry)


def set_factor(ledger: Ledger, value: float, because: str, by: str, at: datetime | None = None) -> BeerFactor:
    """Set the factor, with who does it and why; the ledger's journal keeps it.

    Raises
    ------
    ValueError
        If the value is beyond belief, or nobody or no reason is named.
    """
    checked = BeerFactor(value, by.strip(), at, because.strip())
    return _of(ledger.decide(SETTINGS, {"setting": FACTOR_SETTING, "value": checked.value}, because, by, at))


def give_up_factor(ledger: Ledger, because: str, by: str, at: datetime | None = None) -> BeerFactor:
    """Take back the factor that stands, and return what then stands: the one set before it, or water's.

    Raises
    ------
    ValueError
        If none stands, or nobody or no reason is named.
    """
    entry = factor_entry(ledger)
    if entry is None:
        raise ValueError("give_up_factor: a factor must have been set, and none stands")
    ledger.take_back(entry.number, because, by, at)
    return beer_factor(ledger)


def _of(entry: JournalEntry) -> BeerFactor:
    value = entry.content["value"]
    assert isinstance(value, int | float)  # written by set_factor
    return BeerFactor(float(value), entry.by, entry.at, entry.because)
