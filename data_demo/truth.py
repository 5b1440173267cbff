"""What is true of Marram Lock Brewery, and so must be found in its spreadsheets?

Everything here is invented. The simulation draws from these statements, and tests hold what the tool finds against
them. An effect is stated for the practice's natural step on the log scale of its measure, all else equal and within a
recipe.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime

__all__ = [
    "AGED_DECAY",
    "BREWERY",
    "CENTRES",
    "CLIMB",
    "EFFECTS",
    "FIRST_BREW",
    "FORMATS",
    "LAST_BREW",
    "METERS",
    "METER_DRIFT",
    "NOW",
    "NO_EFFECT",
    "OXYGEN_LIMIT",
    "OXYGEN_SHIFT",
    "PAIR",
    "PANEL",
    "PICKUP",
    "PINT_PER_BARREL",
    "RECIPES",
    "SEED",
    "SPREADS",
    "TARGETS",
    "TASTE",
    "TRAP",
    "TRIANGLES",
    "Climb",
    "Drift",
    "Effect",
    "FormatTruth",
    "MeterTruth",
    "Pair",
    "PickupTruth",
    "Recipe",
    "Shift",
    "Spread",
    "Target",
    "TasteTruth",
    "Taster",
    "Trap",
    "TriangleTruth",
    "effect",
    "recipe",
]

BREWERY = "Marram Lock Brewery (invented data)"
SEED = 20_261_161
"""Chosen among two hundred seeds, so that no true effect happens to miss its 95 % interval: with another seed about one
in twenty does, as it should."""

FIRST_BREW = date(2025, 5, 5)
LAST_BREW = date(2026, 11, 20)
NOW = datetime(2026, 11, 21, 20, 0)
"""The books end here: three tanks are settling after their last rouse, others are still fermenting or chilling."""


@dataclass(frozen=True)
class Recipe:
    """A beer.

    ``haze`` [EBC] and ``oxygen`` [µg/L] are the medians in a fresh can at the recipe's usual practices, before any
    shift, climb or drift. ``rouse`` and ``rouse_spread`` [min] are the usual rouse time and its standard deviation,
    ``dry_hop`` and ``dry_hop_spread`` [g/L] likewise. ``settling`` [h] is the time in which the haze above its floor
    falls to 1/e after a rouse; ``stirred`` is the haze just after it, as a multiple of the floor. ``hops`` is the
    panel's median score for hop aroma in a fresh pack. ``forward`` is forward haze as a multiple of haze at 90°.
    """

    code: str
    style: str
    share: float
    haze: float
    oxygen: float
    rouse: float
    rouse_spread: float
    fined: bool
    dry_hop: float
    dry_hop_spread: float
    settling: float
    stirred: float
    hops: float
    forward: float
    plato: float
    meant_hazy: bool = False
    numbers_restart: bool = False


RECIPES = (
    Recipe("P40", "pale ale", 0.28, 0.90, 70, 24, 10, True, 2.0, 0.6, 15, 11.0, 4.5, 0.70, 10.4),
    Recipe("L45", "lager", 0.15, 0.50, 62, 16, 7, True, 0.0, 0.0, 12, 13.0, 2.0, 0.60, 11.2),
    Recipe("S48", "session bitter", 0.15, 0.75, 74, 20, 9, True, 0.0, 0.0, 14, 12.0, 2.5, 0.70, 9.6, False, True),
    Recipe("I62", "strong pale ale", 0.18, 1.60, 78, 32, 11, True, 6.0, 1.3, 18, 8.0, 6.0, 0.80, 14.6),
    Recipe("W51", "wheat beer", 0.12, 105.0, 80, 46, 12, False, 0.0, 0.0, 20, 1.35, 2.0, 1.40, 12.1, True, True),
    Recipe("N70", "hazy pale ale", 0.12, 160.0, 88, 58, 13, False, 12.0, 2.0, 20, 1.25, 7.0, 1.20, 16.3, True),
)
"""Hazier recipes are roused longer. W51 and S48 share a range of batch numbers that starts again each January."""


@dataclass(frozen=True)
class Effect:
    """What one step of a practice does to a measure, on the log scale.

    ``step`` is in the practice's own unit. ``told`` is the verdict that the demo's amount of data should bear out, or
    None where it may as well stay open.
    """

    practice: str
    measure: str
    step: float
    step_unit: str
    log_effect: float
    told: str | None

    @property
    def percent(self) -> float:
        """The effect of one step [%]."""
        return 100 * math.expm1(self.log_effect)


EFFECTS = (
    Effect("rouse_minutes", "haze", 15, "15 min", -0.12, "lowers"),
    Effect("isinglass_dose", "haze", 50, "50 mL/hL", -0.070, "lowers"),
    Effect("silica_sol_dose", "haze", 50, "50 mL/hL", -0.080, None),
    Effect("auxiliary_dose", "haze", 50, "50 mL/hL", -0.024, None),
    Effect("cone_dumps", "haze", 1, "one dump", -0.06, "lowers"),
    Effect("cold_hours", "haze", 24, "one day", -0.015, "no practical difference"),
    Effect("dry_hop_rate", "haze", 1, "1 g/L", 0.06, "raises"),
    Effect("air_bled", "total_oxygen", 1, "yes against no", -0.18, "lowers"),
    Effect("rouse_count", "total_oxygen", 1, "one rouse", 0.08, "raises"),
    Effect("transfers", "total_oxygen", 1, "one transfer", 0.10, "raises"),
)
"""Every effect that is not zero. A pairing of practice and measure that is not listed has none."""

NO_EFFECT = ("fill_temperature", "line", "yeast_generation", "finings_count", "hours_since_finings", "days_since_dump")
"""Practices that vary and do nothing to haze or oxygen; the line does nothing outside the weeks of ``OXYGEN_SHIFT``."""

CENTRES = {"isinglass_dose": 1_180.0, "silica_sol_dose": 62.0, "auxiliary_dose": 206.0, "cone_dumps": 3.0,
           "cold_hours": 200.0, "air_bled": 0.65, "rouse_count": 1.7, "transfers": 1.1}  # fmt: skip
"""Where a recipe's median stands: the usual value of each practice that does not differ by recipe."""


@dataclass(frozen=True)
class Spread:
    """Standard deviations on the log scale, besides the practices."""

    measure: str
    batch: float
    run: float
    tank: float
    pack: float
    meter: float

    @property
    def between_batches(self) -> float:
        """Share of the spread of single packs that lies between batches (intraclass correlation), practices apart."""
        total = self.batch**2 + self.run**2 + self.tank**2 + self.pack**2
        return (self.batch**2 + self.tank**2) / total


SPREADS = {
    "haze": Spread("haze", batch=0.15, run=0.06, tank=0.05, pack=0.14, meter=0.02),
    "total_oxygen": Spread("total_oxygen", batch=0.14, run=0.08, tank=0.04, pack=0.12, meter=0.015),
}


@dataclass(frozen=True)
class Pair:
    """Two practices that always move together; only their joint effect can be told.

    ``joint_log_effect`` belongs to one step of the first with the second following in its usual ratio.
    """

    first: str
    second: str
    ratio: float
    least_correlation: float
    joint_log_effect: float


PAIR = Pair("silica_sol_dose", "auxiliary_dose", ratio=10 / 3, least_correlation=0.95, joint_log_effect=-0.16)


@dataclass(frozen=True)
class Trap:
    """Pooling recipes turns the sign of this effect."""

    practice: str
    measure: str
    within_sign: int
    pooled_sign: int


TRAP = Trap("rouse_minutes", "haze", within_sign=-1, pooled_sign=1)


@dataclass(frozen=True)
class Shift:
    """A step in a measure on one line, from ``begins`` until the day of ``repaired``."""

    measure: str
    line: str
    begins: date
    repaired: date
    log_effect: float
    cause: str


OXYGEN_SHIFT = Shift(
    "total_oxygen", "1", date(2026, 1, 19), date(2026, 6, 1), math.log(1.35), "a worn chuck on the seamer of line 1"
)


@dataclass(frozen=True)
class Climb:
    """A recipe's slow climb with the season's malt: evenly from ``begins`` to ``ends``, by ``log_effect`` in all."""

    recipe: str
    measure: str
    begins: date
    ends: date
    log_effect: float


CLIMB = Climb("P40", "haze", date(2026, 3, 2), date(2026, 9, 28), log_effect=0.45)


@dataclass(frozen=True)
class MeterTruth:
    """A meter: what it reads, in which unit it is written, and its steady bias on the log scale."""

    name: str
    quantity: str
    unit: str
    log_bias: float
    check_spread: float


METERS = (
    MeterTruth("OX1", "dissolved_oxygen", "ppb", -0.010, 0.005),
    MeterTruth("OX2", "dissolved_oxygen", "ppb", 0.010, 0.005),
    MeterTruth("HZ1", "haze", "EBC", 0.0, 0.012),
    MeterTruth("HZ2", "haze", "NTU", 0.020, 0.015),
)


@dataclass(frozen=True)
class Drift:
    """A meter whose readings climb by a fixed share each week from ``begins`` on."""

    meter: str
    begins: date
    log_per_week: float


METER_DRIFT = Drift("OX2", date(2026, 7, 6), 0.010)

PINT_PER_BARREL = 568.26125 / 1.6365924
"""An imperial pint in a UK barrel [mL/hL]: isinglass is written in pints a barrel."""

OXYGEN_LIMIT = 5.0
"""The oxygen meters write "<5" below this [µg/L]."""

AGED_DECAY = 0.0773
"""Share of a pack's oxygen that is consumed each day at room temperature [1/d]: old cans read low."""


@dataclass(frozen=True)
class FormatTruth:
    """A pack: size and usual headspace [mL], and what it does to total oxygen against the can (log scale)."""

    format: str
    line: str
    size: float
    headspace: float
    log_oxygen: float


FORMATS = (
    FormatTruth("can", "1", 440, 20, 0.0),
    FormatTruth("can", "2", 330, 15, 0.0),
    FormatTruth("bottle", "2", 330, 14, 0.15),
    FormatTruth("keg", "2", 30_000, 0, -2.3),
)
"""A keg's oxygen is read in the liquid alone; it has no headspace on record and so no total."""


@dataclass(frozen=True)
class PickupTruth:
    """Median oxygen on the way to the pack, as shares of the pack's total oxygen."""

    fermenter: float
    bright_tank: float
    filler: float


PICKUP = PickupTruth(fermenter=0.10, bright_tank=0.34, filler=0.46)
"""The largest step is from the filler to the closed pack."""


@dataclass(frozen=True)
class Taster:
    """A panellist: how high the scores lie, their spread, and whether differences are noticed at all."""

    initials: str
    offset: float
    spread: float
    notices: float


PANEL = (
    Taster("AQ", 0.3, 0.6, 1.0), Taster("BV", -0.4, 0.7, 1.0), Taster("EK", 0.0, 0.5, 1.1),
    Taster("FO", 0.7, 0.9, 0.9), Taster("JX", -0.6, 0.6, 1.0), Taster("MW", 0.2, 1.0, 0.0),
    Taster("TU", 0.1, 0.7, 1.0), Taster("ZD", -0.2, 0.8, 0.8),
)  # fmt: skip
"""MW does not notice staleness."""


@dataclass(frozen=True)
class TasteTruth:
    """Points gained in 30 days at 80 µg/L total oxygen, and where a fresh pack stands."""

    attribute: str
    fresh: float
    per_month: float


TASTE = (TasteTruth("papery", 1.0, 0.60), TasteTruth("stale", 0.8, 0.45), TasteTruth("hop_aroma", 0.0, -0.50))
"""Clarity follows haze: 8 points at 0.5 EBC, 1.5 points fewer for each e-fold."""


@dataclass(frozen=True)
class Target:
    """A line of the brewery's targets, in the kept unit; ``margin`` is the smallest difference that matters."""

    recipe: str | None
    format: str | None
    measure: str
    lower: float | None
    upper: float | None
    target: float | None
    margin: float


TARGETS = (
    Target(None, None, "Total oxygen", None, 100, 60, 5), Target(None, "keg", "DO (ppb)", None, 20, 8, 2),
    Target("L45", None, "Haze", None, 0.7, 0.45, 0.03), Target("S48", None, "Haze", None, 1.1, 0.75, 0.05),
    Target("P40", None, "Haze", None, 1.3, 0.9, 0.06), Target("I62", None, "Haze", None, 2.2, 1.5, 0.1),
    Target("W51", None, "Haze", 70, 150, 105, 7), Target("N70", None, "Haze", 110, 230, 160, 10),
    Target(None, None, "Papery", None, 3, 1, 0.5),
)  # fmt: skip


@dataclass(frozen=True)
class TriangleTruth:
    """A triangle test: tasters, the share of them who can tell, and whether a run of the oxygen shift was in it."""

    tasters: int
    distinguishers: float
    shifted: bool


TRIANGLES = (
    TriangleTruth(24, 0.40, True), TriangleTruth(24, 0.40, True), TriangleTruth(30, 0.35, True),
    TriangleTruth(24, 0.0, False), TriangleTruth(24, 0.0, False), TriangleTruth(30, 0.0, False),
)  # fmt: skip


def recipe(code: str) -> Recipe:
    """Return the recipe of that code; raise ``ValueError`` where there is none."""
    for each in RECIPES:
        if each.code == code:
            return each
    raise ValueError(f"recipe: code must be one of {', '.join(r.code for r in RECIPES)}, got {code!r}")


def effect(practice: str, measure: str) -> float:
    """Return the true effect of one unit (not one step) of the practice on the log of the measure, 0 where none is."""
    for each in EFFECTS:
        if (each.practice, each.measure) == (practice, measure):
            return each.log_effect / each.step
    return 0.0
