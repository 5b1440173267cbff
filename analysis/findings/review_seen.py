"""What is one matter of a weekly review called, and what was seen of it when people spoke about it?

A matter keeps its name when later runs arrive or the ledger is corrected: it is named by its measure, stage, recipe,
format, line and first run. What was seen of it is kept with each answer, so that an answer still says what it was about
when the records behind it are gone.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from analysis.vocabulary import measure

__all__ = ["MatterKey", "SeenMatter", "SeenPoint", "stage_in_words"]

_STAGES = {
    "fermenter": "in the fermenter",
    "bright_tank": "in the bright tank",
    "filler": "at the filler",
    "pack": "",
}


@dataclass(frozen=True)
class MatterKey:
    """Which chart a matter is on, the run that it begins with, and its side: 1 above, -1 below, 0 without a side."""

    measure: str
    stage: str
    recipe: str | None
    format: str | None
    line: str | None
    first: str
    side: int

    @property
    def code(self) -> str:
        """A short name that an address can hold."""
        told = "\x1f".join(str(part) for part in (*self.chart, self.first, self.side))
        return "m" + hashlib.sha256(told.encode()).hexdigest()[:10]

    @property
    def chart(self) -> tuple[str, str, str | None, str | None, str | None]:
        """The chart that it is on."""
        return self.measure, self.stage, self.recipe, self.format, self.line

    @property
    def title(self) -> str:
        """The matter's chart in words: ``Haze at the filler, P40, can``."""
        where = _STAGES.get(self.stage, self.stage)
        if self.recipe is None:
            who = "all recipes" if self.line is None else f"line {self.line}, all recipes"
        else:
            who = self.recipe if self.format is None else f"{self.recipe}, {self.format}"
        return f"{' '.join(part for part in (measure(self.measure).label, where) if part)}: {who}"

    def as_document(self) -> dict[str, object]:
        """Return the key as the journal keeps it."""
        return {
            "measure": self.measure,
            "stage": self.stage,
            "recipe": self.recipe,
            "format": self.format,
            "line": self.line,
            "first": self.first,
            "side": self.side,
        }

    @classmethod
    def from_document(cls, kept: Mapping[str, Any]) -> MatterKey:
        """Return the key that a journal holds."""
        texts = (kept["measure"], kept["stage"], kept["recipe"], kept["format"], kept["line"], kept["first"])
        return cls(*texts, int(kept["side"]))


@dataclass(frozen=True)
class SeenPoint:
    """One run on the chart as it was seen: values and limits in the chart's unit, NaN where there is none.

    ``within`` is true for the runs of the matter.
    """

    run: str
    at: datetime
    value: float
    centre: float
    lower: float
    upper: float
    within: bool
    signal: bool = False

    def as_document(self) -> list[object]:
        """Return the point as the journal keeps it, short."""
        numbers = [_kept(value) for value in (self.value, self.centre, self.lower, self.upper)]
        return [self.run, self.at.isoformat(timespec="minutes"), *numbers, int(self.within), int(self.signal)]

    @classmethod
    def from_document(cls, kept: list[Any]) -> SeenPoint:
        """Return the point that a journal holds."""
        run, at, *numbers, within, signal = kept
        value, centre, lower, upper = (math.nan if number is None else float(number) for number in numbers)
        return cls(str(run), datetime.fromisoformat(at), value, centre, lower, upper, bool(within), bool(signal))


@dataclass(frozen=True)
class SeenMatter:
    """A matter as it stood when it was looked at.

    ``told`` says it in a sentence or two; ``runs`` are its runs in order; ``change`` is its size [``unit``] and
    ``percent`` the same in percent of the usual level, NaN where that has no meaning; ``lasts`` says that the latest
    run of the chart belonged to it. ``points`` is its chart, cut to the matter; ``chart_unit`` is "σ" on a chart across
    recipes. ``done`` are sentences on what was done differently, empty where nobody asked.
    """

    key: MatterKey
    told: str
    runs: tuple[str, ...]
    since: datetime
    change: float
    unit: str
    percent: float
    lasts: bool
    log: bool = False
    chart_unit: str = ""
    points: tuple[SeenPoint, ...] = ()
    done: tuple[str, ...] = ()
    meters: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The matter's chart in words."""
        return self.key.title

    def as_document(self, *, with_chart: bool) -> dict[str, object]:
        """Return it as the journal keeps it; the chart is kept with a closed review alone."""
        told: dict[str, object] = {
            **self.key.as_document(),
            "told": self.told,
            "runs": list(self.runs),
            "since": self.since.isoformat(timespec="minutes"),
            "change": _kept(self.change),
            "unit": self.unit,
            "percent": _kept(self.percent),
            "lasts": self.lasts,
        }
        if not with_chart:
            return told
        return {
            **told,
            "log": self.log,
            "chart_unit": self.chart_unit,
            "points": [point.as_document() for point in self.points],
            "done": list(self.done),
            "meters": list(self.meters),
        }

    @classmethod
    def from_document(cls, kept: Mapping[str, Any]) -> SeenMatter:
        """Return what a journal holds."""
        change, percent = (math.nan if kept[name] is None else float(kept[name]) for name in ("change", "percent"))
        return cls(
            key=MatterKey.from_document(kept),
            told=str(kept["told"]),
            runs=tuple(str(run) for run in kept["runs"]),
            since=datetime.fromisoformat(kept["since"]),
            change=change,
            unit=str(kept["unit"]),
            percent=percent,
            lasts=bool(kept["lasts"]),
            log=bool(kept.get("log", False)),
            chart_unit=str(kept.get("chart_unit", "")),
            points=tuple(SeenPoint.from_document(point) for point in kept.get("points", ())),
            done=tuple(str(words) for words in kept.get("done", ())),
            meters=tuple(str(words) for words in kept.get("meters", ())),
        )


def stage_in_words(stage: str) -> str:
    """Return where something was read: ``at the filler``; ``in the finished pack``."""
    return _STAGES.get(stage) or "in the finished pack"


def _kept(value: float) -> float | None:
    return float(f"{value:.6g}") if math.isfinite(value) else None
