"""Which baseline did a person freeze for a series, and why?

Limits come from a frozen baseline and do not move with later runs. A new phase begins when a person says so, after a
known change; nothing here begins one by itself. What a person froze stands in the ledger's journal under the subject
``"baseline"``; of two that begin at the same place of a series the later one counts, and once that is taken back the
earlier one again.

What is frozen are the runs, by their dates. Where a batch has several runs, limits were once made from them run by run;
now the batch is the unit. An entry says which of the two its limits were made by when it was written (``unit``; one
that does not say is from before), and the chart says what its limits were then.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import PhaseMarks
from analysis.findings.run_names import names_today
from analysis.findings.series_batches import batch_numbers
from analysis.ledger import JournalEntry, Ledger
from analysis.vocabulary import STAGES

__all__ = [
    "BASELINE_RUNS",
    "SUBJECT",
    "FrozenPhase",
    "RunLeftOut",
    "SeriesPhases",
    "freeze",
    "frozen_phases",
    "phases_of",
    "series_phases",
    "thaw",
]

BASELINE_RUNS = 25
"""Until a person freezes a baseline, limits come from this many first runs; batches, where one has several runs."""

SUBJECT = "baseline"


@dataclass(frozen=True)
class RunLeftOut:
    """A run that a baseline does without, and why."""

    run: str
    because: str

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("RunLeftOut: because must give the reason, got an empty text")


@dataclass(frozen=True)
class FrozenPhase:
    """A stretch of a chart's runs with limits of their own, for one measure read at one stage.

    The chart is that of a recipe and format, or of a ``line`` across recipes; for what is counted, ``measure`` is its
    name and the chart is that of a line, or of all runs where no line is noted.

    It begins with the first run on or after ``begins`` (with the first of all where that is None) and lasts until the
    next phase. Its limits come from the runs of ``since`` to ``until``, both included, less those ``left_out``.
    ``because`` says why, ``by`` who said so and ``at`` when; ``number`` is its entry in the ledger's journal. Both are
    None where it is not on record. ``unit`` says whether limits were made run by run or batch by batch when it was
    frozen.
    """

    measure: str
    stage: str
    recipe: str | None
    format: str | None
    begins: date | None
    since: date
    until: date
    because: str
    by: str
    left_out: tuple[RunLeftOut, ...] = ()
    at: datetime | None = None
    number: int | None = None
    unit: Literal["run", "batch"] = "batch"
    line: str | None = None

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("FrozenPhase: because must give the reason, got an empty text")
        if self.stage not in STAGES:
            raise ValueError(f"FrozenPhase: stage must be one of {', '.join(STAGES)}, got {self.stage!r}")
        if self.since > self.until:
            raise ValueError(f"FrozenPhase: since must not be after until, got {self.since} and {self.until}")
        if self.begins is not None and self.begins > self.since:
            raise ValueError(f"FrozenPhase: begins must not be after since, got {self.begins} and {self.since}")

    @property
    def place(self) -> tuple[str, str, str | None, str | None, str | None, date | None]:
        """Where it stands: a later one at the same place counts in its stead."""
        return self.measure, self.stage, self.recipe, self.format, self.line, self.begins


def frozen_phases(ledger: Ledger) -> tuple[FrozenPhase, ...]:
    """Return the phases that stand, of every measure and series, in the order in which they were frozen."""
    standing: dict[object, FrozenPhase] = {}
    for entry in ledger.journal(SUBJECT):
        phase = _phase(entry)
        standing.pop(phase.place, None)
        standing[phase.place] = phase
    return tuple(standing.values())


def freeze(ledger: Ledger, phase: FrozenPhase, at: datetime | None = None) -> FrozenPhase:
    """Put a phase on record and return it as it stands there.

    Raises
    ------
    ValueError
        If ``by`` is empty.
    LedgerError
        If the ledger cannot be written.
    """
    return _phase(ledger.decide(SUBJECT, _content(phase), phase.because, phase.by, at))


def thaw(ledger: Ledger, number: int, because: str, by: str, at: datetime | None = None) -> None:
    """Take a phase back by its entry in the journal; what stood at its place before stands again.

    Raises
    ------
    ValueError
        If no baseline that stands has that number, or ``because`` or ``by`` is empty.
    LedgerError
        If the ledger cannot be written.
    """
    numbers = [entry.number for entry in ledger.journal(SUBJECT)]
    if number not in numbers:
        raise ValueError(f"thaw: number must be that of a baseline that stands, one of {numbers}, got {number}")
    ledger.take_back(number, because, by, at)


def _content(phase: FrozenPhase) -> dict[str, object]:
    return {
        "measure": phase.measure,
        "stage": phase.stage,
        "recipe": phase.recipe,
        "format": phase.format,
        "begins": None if phase.begins is None else phase.begins.isoformat(),
        "from": phase.since.isoformat(),
        "to": phase.until.isoformat(),
        "left_out": [{"run": left.run, "because": left.because} for left in phase.left_out],
        "unit": phase.unit,
        "line": phase.line,
    }


def _phase(entry: JournalEntry) -> FrozenPhase:
    said = entry.content
    left_out = said["left_out"]
    return FrozenPhase(
        measure=str(said["measure"]),
        stage=str(said["stage"]),
        recipe=_text(said["recipe"]),
        format=_text(said["format"]),
        begins=None if said["begins"] is None else date.fromisoformat(str(said["begins"])),
        since=date.fromisoformat(str(said["from"])),
        until=date.fromisoformat(str(said["to"])),
        because=entry.because,
        by=entry.by,
        left_out=tuple(_left_out(each) for each in left_out) if isinstance(left_out, Sequence) else (),
        at=entry.at,
        number=entry.number,
        unit="batch" if said.get("unit") == "batch" else "run",
        line=_text(said.get("line")),
    )


def _left_out(said: object) -> RunLeftOut:
    if not isinstance(said, Mapping):
        raise ValueError(f"left_out must hold a run and the reason, got {said!r}")
    return RunLeftOut(str(said["run"]), str(said["because"]))


def _text(said: object) -> str | None:
    return None if said is None else str(said)


def phases_of(
    phases: Sequence[FrozenPhase], recipe: str | None, format: str | None, line: str | None = None
) -> tuple[FrozenPhase, ...]:
    """Return a series' phases, of those of one measure and stage, in the order in which they begin.

    Raises
    ------
    ValueError
        If two phases of the series begin on the same day.
    """
    own = [phase for phase in phases if (phase.recipe, phase.format, phase.line) == (recipe, format, line)]
    begins = [phase.begins for phase in own]
    if len(set(begins)) < len(begins):
        called = f"{recipe}, {format}" if line is None else f"line {line}"
        raise ValueError(f"phases: two phases of {called} begin on the same day")
    return tuple(sorted(own, key=lambda phase: phase.begins or date.min))


@dataclass(frozen=True, eq=False)
class SeriesPhases:
    """The phases of one series: ``marks`` on its runs, and what each phase's number stands for.

    An entry of ``frozen`` is None for a phase that nobody froze: the first runs, whatever they were.
    """

    marks: PhaseMarks
    frozen: tuple[FrozenPhase | None, ...]


def series_phases(phases: Sequence[FrozenPhase], runs: pd.DataFrame, first: int | None = BASELINE_RUNS) -> SeriesPhases:
    """Return the phase of each run, from 0, and whether it is in its phase's baseline.

    Parameters
    ----------
    phases : sequence of FrozenPhase
        One series' own, in order. Runs before the first of them have their own first runs for a baseline.
    runs : DataFrame
        ``run``, ``at`` and ``batch`` of the series' runs, in order; without ``batch`` each is of its own.
    first : int or None
        How many first runs (batches, where one has several) are the baseline of a phase that nobody froze; all of its
        runs where it is None.
    """
    n, numbers = len(runs), batch_numbers(runs)
    frozen: tuple[FrozenPhase | None, ...] = tuple(_named_today(phase, runs) for phase in phases)
    if not phases or phases[0].begins is not None:
        frozen = (None, *phases)
    days = runs["at"].to_numpy("datetime64[D]")
    begins = np.array([np.datetime64((each.begins if each is not None else None) or date.min, "D") for each in frozen])
    phase = np.searchsorted(begins, days, side="right") - 1
    baseline = np.zeros(n, dtype=np.bool_)
    for number, each in enumerate(frozen):
        here = phase == number
        if each is None:
            baseline |= here if first is None else here & (_so_far(here, numbers) <= first)
            continue
        within = (days >= np.datetime64(each.since, "D")) & (days <= np.datetime64(each.until, "D"))
        without = runs["run"].isin([left.run for left in each.left_out]).to_numpy(np.bool_)
        baseline |= here & within & ~without
    return SeriesPhases(PhaseMarks(phase.astype(np.int64), baseline), frozen)


def _named_today(phase: FrozenPhase, runs: pd.DataFrame) -> FrozenPhase:
    """Return a phase with the runs that it leaves out under the names that they have today."""
    if not phase.left_out:
        return phase
    by = phase.until if phase.at is None else min(phase.until, phase.at.date())
    today = names_today((left.run for left in phase.left_out), runs["run"], runs["at"], by=by)
    return replace(phase, left_out=tuple(replace(left, run=today[left.run]) for left in phase.left_out))


def _so_far(here: npt.NDArray[np.bool_], numbers: npt.NDArray[np.int64] | None) -> npt.NDArray[np.int64]:
    """Return the place of each run's batch among those here, from 1, in the order of their first runs."""
    if numbers is None:
        return np.cumsum(here)
    places = np.flatnonzero(here)
    own = np.where(numbers[places] < 0, -1 - places, numbers[places])
    so_far = np.zeros(here.size, dtype=np.int64)
    so_far[places] = pd.factorize(own)[0] + 1
    return so_far
