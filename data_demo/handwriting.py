"""How do the brewery's people write a number, a date, a word?"""

from __future__ import annotations

import numpy as np

from data_demo.cellar import Job
from data_demo.paper import Cell, Mark
from data_demo.truth import OXYGEN_LIMIT, MeterTruth

__all__ = ["batch_word", "haze_figure", "job_word", "oxygen_figure", "reading_mark", "specific_gravity", "yes_word"]

_JOB_WORDS = {
    "rouse": ("roused", "Roused", "rouse", "recirc"),
    "finings": ("fined", "Fined", "finings"),
    "dump": ("cone dump", "Cone dump", "drop", "yeast off"),
    "dry_hop": ("D/H", "dry hop"),
    "chill": ("chill", "crash"),
    "carbonate": ("carbonate", "carb"),
}
_YES = {True: ("y", "yes", "Y"), False: ("n", "no", "N")}


def batch_word(number: str, rng: np.random.Generator, usual: str = "") -> Cell:
    """Return a batch number as somebody writes it: as the page usually has it, now and then in another way.

    ``usual`` is ``""`` for a number cell, ``"#"`` or ``"G"`` for a text with that sign before it.
    """
    form = usual if rng.random() < 0.9 else ("", "#", "G")[rng.integers(3)]
    return f"{form}{number}" if form else float(number)


def job_word(job: Job, rng: np.random.Generator) -> str:
    """Return a job as somebody writes it."""
    words = _JOB_WORDS[job.operation]
    return words[rng.integers(len(words))]


def yes_word(flag: bool | None, rng: np.random.Generator) -> Cell:
    """Return yes or no as somebody writes it, nothing where it does not apply."""
    return None if flag is None else _YES[flag][rng.integers(3)]


def oxygen_figure(value: float | None, rng: np.random.Generator, limit: float | None = OXYGEN_LIMIT) -> Cell:
    """Return oxygen [µg/L] as it is read off: "<5" below the meter's limit, now and then a word for a lost reading."""
    if value is None:
        return None
    if rng.random() < 0.012:
        return ("n/a", "-", "broken")[rng.integers(3)]
    return f"<{limit:g}" if limit is not None and value < limit else round(value, 1)


def haze_figure(value: float, meter: MeterTruth) -> float:
    """Return haze [EBC] in the meter's own unit, to the figures that it shows."""
    shown = 4 * value if meter.unit == "NTU" else value
    return round(shown, 2 if shown < 10 else 1)


def reading_mark(*readings: Cell) -> Mark:
    """Return what a row is that has nothing but these readings: lost, where each is a word or missing."""
    found = any(isinstance(cell, int | float) or str(cell).startswith("<") for cell in readings)
    return Mark.RECORD if found else Mark.LOST


def specific_gravity(plato: float) -> float:
    """Return the specific gravity of a wort [°P], to three decimals.

    Source: the usual approximation 1 + P/(258.6 − 227.1 P/258.2), from memory.
    """
    return round(1 + plato / (258.6 - 227.1 * plato / 258.2), 3)
