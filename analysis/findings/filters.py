"""Which recipes, format, dates and tank is a question about?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from analysis.findings.wording import day, listing
from analysis.vocabulary import FORMATS

__all__ = ["Filters"]


@dataclass(frozen=True)
class Filters:
    """What was asked about; whatever is empty or None asks about all.

    ``since`` and ``until`` are both included. A recipe or tank is found whatever the case of its letters, and spaces.
    """

    recipes: tuple[str, ...] = ()
    format: str | None = None
    since: date | None = None
    until: date | None = None
    tank: str | None = None

    def __post_init__(self) -> None:
        if self.format is not None and self.format not in FORMATS:
            raise ValueError(f"Filters: format must be one of {', '.join(FORMATS)}, got {self.format!r}")
        if self.since is not None and self.until is not None and self.since > self.until:
            raise ValueError(f"Filters: since must not be after until, got {self.since} and {self.until}")

    def apply(self, frame: pd.DataFrame, moment: str = "packed_at") -> pd.DataFrame:
        """Return the rows that were asked about.

        Parameters
        ----------
        frame : DataFrame
            Has the columns ``recipe``, ``format``, ``tank`` and ``moment`` as far as the filters need them; a row in
            which such a cell is missing is not among the rows asked about.
        moment : str
            The column whose date ``since`` and ``until`` bound.

        Raises
        ------
        ValueError
            If a column that a filter needs is not there.
        """
        kept = pd.Series(True, index=frame.index)
        if self.recipes:
            kept &= _alike(_column(frame, "recipe"), self.recipes)
        if self.format is not None:
            kept &= _column(frame, "format") == self.format
        if self.tank is not None:
            kept &= _alike(_column(frame, "tank"), (self.tank,))
        if self.since is not None:
            kept &= _column(frame, moment) >= pd.Timestamp(self.since)
        if self.until is not None:
            kept &= _column(frame, moment) < pd.Timestamp(self.until) + pd.Timedelta(days=1)
        return frame[kept.fillna(False).astype(bool)]

    def as_document(self) -> dict[str, str | list[str] | None]:
        """Return the filters as a JSON document has them."""
        return {
            "recipes": list(self.recipes),
            "format": self.format,
            "since": None if self.since is None else self.since.isoformat(),
            "until": None if self.until is None else self.until.isoformat(),
            "tank": self.tank,
        }

    def in_words(self) -> str:
        """Return what was asked about, in words: ``recipe P40, cans, since 1 May 2026``."""
        parts = []
        if self.recipes:
            parts.append(f"{'recipe' if len(self.recipes) == 1 else 'recipes'} {listing(self.recipes)}")
        if self.format is not None:
            parts.append(f"{self.format}s")
        if self.since is not None:
            parts.append(f"since {day(self.since)}")
        if self.until is not None:
            parts.append(f"until {day(self.until)}")
        if self.tank is not None:
            parts.append(f"tank {self.tank}")
        return ", ".join(parts) or "everything on record"


def _alike(written: pd.Series, wanted: Sequence[str]) -> pd.Series:
    """Return whether each name is one of those that are wanted: "pale 1" asks about "PALE 1"."""
    names = {_plain(name) for name in wanted}
    return written.isin([name for name in written.dropna().unique() if _plain(name) in names])


def _plain(name: str) -> str:
    return " ".join(str(name).split()).casefold()


def _column(frame: pd.DataFrame, name: str) -> pd.Series:
    if name not in frame.columns:
        raise ValueError(
            f"Filters.apply: frame must have the column {name!r}, got {', '.join(map(str, frame.columns))}"
        )
    return frame[name]
