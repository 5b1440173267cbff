"""What does the house call each measure and practice, in which unit is it kept, and which way is worse?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

__all__ = [
    "FORMATS",
    "MEASURES",
    "OPERATIONS",
    "PRACTICES",
    "STAGES",
    "Measure",
    "Practice",
    "agent_of_dose",
    "dose_practice",
    "further_practice",
    "measure",
    "practice",
    "slug",
]

Worse = Literal["higher", "lower", "outside"]
Scale = Literal["log", "linear"]
PracticeType = Literal["number", "count", "yes_no", "category"]
Blend = Literal["mean", "max", "category"]

STAGES = ("fermenter", "bright_tank", "filler", "pack")
FORMATS = ("can", "bottle", "keg", "cask")
OPERATIONS = (
    "rouse",
    "finings",
    "dump",
    "dry_hop",
    "chill",
    "transfer",
    "purge",
    "carbonate",
    "filter",
    "other",
)


@dataclass(frozen=True)
class Measure:
    """A quantity read in a tank or a pack.

    ``low`` and ``high`` bound what is plausible [``unit``]: a value outside is shown as a problem, not kept.
    ``scale`` is the scale on which its spread is expected to be even; ``worse`` is the direction that harms.
    ``is_tasting`` is true for an attribute that a panel scores.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    worse: Worse
    scale: Scale
    meaning: str
    is_tasting: bool = False


@dataclass(frozen=True)
class Practice:
    """Something done to the beer, as it stood when the pack was closed.

    ``step`` [``step_unit``] is the change that a brewer thinks in; an effect is told for one step.
    ``blend`` says how a blended pack gets its value from its batches. ``source`` names the kind of record.
    ``may_not_apply`` is true where a missing value can mean that there was nothing to note: the rest since a rouse of
    a batch that was never roused.
    """

    name: str
    label: str
    unit: str
    type: PracticeType
    step: float
    step_unit: str
    blend: Blend
    low: float = 0.0
    high: float = float("inf")
    source: str = "operations"
    may_not_apply: bool = False


_MEASURES = (
    Measure("dissolved_oxygen", "Dissolved oxygen", "µg/L", 0, 20_000, "higher", "log", "oxygen in the liquid"),
    Measure("headspace_oxygen", "Headspace oxygen", "%", 0, 21, "higher", "log", "oxygen in the pack's gas, dry"),
    Measure(
        "total_oxygen", "Total package oxygen", "µg/L", 0, 20_000, "higher", "log",
        "all oxygen in the closed pack, liquid and headspace, per litre of beer",
    ),
    Measure("haze", "Haze", "EBC", 0, 500, "higher", "log", "light scattered at 90°"),
    Measure("haze_forward", "Forward haze", "EBC", 0, 500, "higher", "log", "light scattered at a forward angle"),
    Measure("chill_haze", "Chill haze", "EBC", -5, 500, "higher", "linear", "haze at 0 °C less haze at 20 °C"),
    Measure("temperature", "Temperature", "°C", -5, 110, "outside", "linear", "of the beer"),
    Measure("carbon_dioxide", "Carbon dioxide", "g/L", 0, 15, "outside", "linear", "dissolved in the beer"),
    Measure("ph", "pH", "", 2, 9, "outside", "linear", "of the beer"),
    Measure("yeast_count", "Yeast count", "10⁶/mL", 0, 500, "higher", "log", "cells in suspension"),
)  # fmt: skip

_PRACTICES = (
    Practice("rouse_minutes", "Rouse time, all rouses", "min", "number", 15, "15 min", "mean", high=2_880),
    Practice("rouse_count", "Rouses", "rouses", "count", 1, "one rouse", "max", high=60),
    Practice(
        "hours_since_rouse",
        "Rest since the last rouse",
        "h",
        "number",
        24,
        "one day",
        "mean",
        high=2_000,
        may_not_apply=True,
    ),
    Practice("finings_count", "Finings doses", "doses", "count", 1, "one dose", "max", high=20),
    Practice(
        "hours_since_finings",
        "Rest since the last finings",
        "h",
        "number",
        24,
        "one day",
        "mean",
        high=2_000,
        may_not_apply=True,
    ),
    Practice("cone_dumps", "Cone dumps", "dumps", "count", 1, "one dump", "max", high=60),
    Practice(
        "days_since_dump", "Days since the last dump", "d", "number", 1, "one day", "mean", high=365, may_not_apply=True
    ),
    Practice("dry_hop_rate", "Dry-hop rate", "g/L", "number", 1, "1 g/L", "mean", high=60),
    Practice("dry_hop_days", "Days on dry hops", "d", "number", 1, "one day", "mean", high=120, may_not_apply=True),
    Practice("cold_hours", "Time cold", "h", "number", 24, "one day", "mean", high=5_000),
    Practice("transfers", "Transfers", "transfers", "count", 1, "one transfer", "max", high=20, source="transfers"),
    Practice("fill_temperature", "Fill temperature", "°C", "number", 1, "1 °C", "mean", -2, 30, "pack_runs"),
    Practice("tank", "Tank", "", "category", 1, "", "category", source="batches"),
    Practice("line", "Line", "", "category", 1, "", "category", source="pack_runs"),
    Practice("format", "Format", "", "category", 1, "", "category", source="pack_runs"),
)

MEASURES: Mapping[str, Measure] = MappingProxyType({m.name: m for m in _MEASURES})
PRACTICES: Mapping[str, Practice] = MappingProxyType({p.name: p for p in _PRACTICES})

_DOSE_SUFFIX = "_dose"
_GRAM_STEP = 10.0
_MILLILITRE_STEP = 50.0


def slug(text: str) -> str:
    """Return the kept name of a header or agent: lower case, words joined by underscores.

    >>> slug("Air bled? (y/n)")
    'air_bled_y_n'
    """
    words = "".join(c if c.isalnum() else " " for c in text.casefold()).split()
    return "_".join(words)


def measure(name: str) -> Measure:
    """Return the measure of that name; a name that is not in the vocabulary is a tasting attribute.

    Parameters
    ----------
    name : str
        A kept measure name, or a tasting attribute by its own name (``"papery"``).

    Raises
    ------
    ValueError
        If ``name`` is empty.
    """
    if not name:
        raise ValueError(f"measure: name must be a measure ({', '.join(MEASURES)}) or a tasting attribute, got ''")
    if name in MEASURES:
        return MEASURES[name]
    label = name.replace("_", " ").capitalize()
    return Measure(name, label, "points", 0, 100, "higher", "linear", "scored by the panel", is_tasting=True)


def dose_practice(agent: str, unit: str) -> Practice:
    """Return the practice that counts an agent's doses.

    Parameters
    ----------
    agent : str
        The agent as the brewery writes it, such as ``"isinglass"``.
    unit : str
        ``"mL/hL"`` or ``"g/hL"``.

    Raises
    ------
    ValueError
        If ``unit`` is neither.
    """
    steps = {"mL/hL": _MILLILITRE_STEP, "g/hL": _GRAM_STEP}
    if unit not in steps:
        raise ValueError(f"dose_practice: unit must be one of {', '.join(steps)}, got {unit!r}")
    step = steps[unit]
    label = f"{agent.replace('_', ' ').capitalize()} dose"
    return Practice(f"{slug(agent)}{_DOSE_SUFFIX}", label, unit, "number", step, f"{step:g} {unit}", "mean", high=5_000)


def agent_of_dose(name: str) -> str | None:
    """Return the agent of a dose practice's name, or None where it is another practice."""
    return name.removesuffix(_DOSE_SUFFIX) if name.endswith(_DOSE_SUFFIX) else None


def further_practice(header: str, type: PracticeType, source: str, step: float = 1.0) -> Practice:
    """Return the practice that a brewery's own further column makes.

    Parameters
    ----------
    header : str
        The header as it stands on the sheet.
    type : {"number", "count", "yes_no", "category"}
        What the column's cells hold.
    source : str
        The kind of record that the column stood beside.
    step : float
        One step, for a number; a caller that knows the spread passes a round figure of that size.
    """
    blend: Blend = "mean" if type in ("number", "yes_no") else "max" if type == "count" else "category"
    step_unit = {"yes_no": "yes against no", "category": ""}.get(type, f"{step:g}")
    return Practice(
        slug(header),
        header.strip(),
        "",
        type,
        step,
        step_unit,
        blend,
        float("-inf"),
        source=source,
        may_not_apply=source == "operations",
    )


def practice(name: str) -> Practice:
    """Return the vocabulary's practice of that name.

    Raises
    ------
    ValueError
        If the vocabulary has none: a dose or a further column is made by its own function.
    """
    if name not in PRACTICES:
        raise ValueError(f"practice: name must be one of {', '.join(PRACTICES)}, got {name!r}")
    return PRACTICES[name]
