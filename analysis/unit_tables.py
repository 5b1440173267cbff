"""Which units has each quantity, how are they spelt, and how large is each?"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

__all__ = [
    "GALLONS",
    "HAZE",
    "MASS",
    "METRIC_VOLUME",
    "PARTS_OF_GALLON",
    "POINTS",
    "POUND",
    "QUANTITIES",
    "SYSTEMS",
    "UNIT_OF",
    "YEAST",
    "Quantity",
    "Unit",
    "plain_unit",
]

# Exact definitions. Mass: international yard and pound agreement of 1959 (1 lb = 453.59237 g). Imperial volumes: United
# Kingdom, Weights and Measures Act 1985 (1 gallon = 4.54609 L, a barrel is 36 gallons). United States customary
# volumes: 1 gallon = 231 cubic inches = 3.785411784 L, a beer barrel is 31 gallons (27 CFR 25.11).
POUND = Fraction("453.59237")
GALLONS = {"UK": Fraction("4546.09"), "US": Fraction("3785.411784")}
PARTS_OF_GALLON = {  # of a gallon: the United Kingdom's, the United States'
    "bbl": (Fraction(36), Fraction(31)),
    "gal": (Fraction(1), Fraction(1)),
    "pt": (Fraction(1, 8), Fraction(1, 8)),
    "fl oz": (Fraction(1, 160), Fraction(1, 128)),
}
_PSI = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2 / 1000
# EBC Analytica and ASBC Methods: 1 EBC = 4 NTU (= FNU numerically, ISO 7027-1) = 69 ASBC FTU.
_NTU, _ASBC_FTU = Fraction(1, 4), Fraction(1, 69)
_CO2_VOLUME = Fraction("1.96")  # g/L: the mass of a litre of the gas at 0 °C and 1 atm, by the trade's convention

MASS = {"ug": Fraction(1, 10**6), "mg": Fraction(1, 1000), "g": Fraction(1), "kg": Fraction(1000), "lb": POUND}
METRIC_VOLUME = {
    "mL": Fraction(1), "cL": Fraction(10), "dL": Fraction(100), "L": Fraction(1000), "hL": Fraction(10**5),
    "m³": Fraction(10**6),
}  # fmt: skip
_SPELT = {
    "ug": "ug mcg microgram micrograms",
    "mg": "mg mgs milligram milligrams",
    "g": "g gm gms gr gram grams gramme grammes",
    "kg": "kg kgs kilo kilos kilogram kilograms",
    "lb": "lb lbs pound pounds",
    "oz": "oz ozs ounce ounces",
    "oz wt": "ozwt ozmass ozavdp ounceswt",
    "mL": "ml mls cc ccm millilitre millilitres milliliter milliliters",
    "cL": "cl cls centilitre centilitres centiliter centiliters",
    "dL": "dl",
    "L": "l lt ltr ltrs litre litres liter liters",
    "hL": "hl hls hectolitre hectolitres hectoliter hectoliters hecto hectos",
    "m³": "m3 m^3 cum",
    "bbl": "bbl bbls barrel barrels brl brls beerbbl beerbarrel beerbarrels",
    "gal": "gal gals gallon gallons",
    "pt": "pt pts pint pints",
    "fl oz": "floz flozs fluidounce fluidounces",
}
UNIT_OF = {word: unit for unit, words in _SPELT.items() for word in words.split()}
SYSTEMS = {"UK": ("uk", "imperial", "imp", "british"), "US": ("usa", "us", "american")}


@dataclass(frozen=True)
class Unit:
    """One unit and the way to the kept one: ``kept = factor · value + offset`` [``kept_unit``].

    ``is_gravity`` marks specific gravity: ``factor · value`` is then put through the ASBC cubic to °P.
    """

    name: str
    kept_unit: str
    factor: float
    offset: float = 0.0
    is_gravity: bool = False


@dataclass(frozen=True)
class Quantity:
    """How a quantity's units are read.

    ``per`` gives, for a dimension ("mass/volume", "volume" …), the kept unit and what one g, mL or g/mL is in it;
    ``words`` the units that have a name of their own, each under all its spellings; ``asked`` the spellings that must
    be asked about, with the names they may mean; ``unstated`` the names to ask among where no unit stands.
    """

    kept: str
    per: Mapping[str, tuple[str, Fraction]]
    words: Mapping[str, Unit]
    asked: Mapping[str, tuple[str, ...]]
    unstated: tuple[str, ...] = ()


def _quantity(
    kept: str,
    *words: tuple[str, str, Fraction],
    per: Mapping[str, tuple[str, Fraction]] | None = None,
    offsets: Mapping[str, Fraction] | None = None,
    asked: Mapping[str, tuple[str, ...]] | None = None,
    unstated: tuple[str, ...] = (),
) -> Quantity:
    """Return a quantity; each of ``words`` is a unit's name, its other spellings (plain form) and its factor."""
    named: dict[str, Unit] = {}
    for name, spellings, factor in words:
        offset = float((offsets or {}).get(name, Fraction(0)))
        unit = Unit(name, kept, float(factor), offset, is_gravity=name.startswith("SG"))
        named.update(dict.fromkeys([plain_unit(name), *spellings.split()], unit))
    return Quantity(kept, per or {}, named, asked or {}, unstated)


_RAISED = str.maketrans(
    {c: f"^{d}" for c, d in zip("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789", strict=True)} | {"⁻": "^-", "º": "°", "×": "x"}
)


def plain_unit(text: str) -> str:
    """Return a unit's text for looking up: lower case, no spaces, dots, degree signs or brackets, "/" for "per"."""
    text = unicodedata.normalize("NFKC", text.translate(_RAISED)).casefold().replace("μ", "u").replace("^-^", "^-")
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\bdeg(?:rees?)?\s*", "", text)
    return re.sub(r"[\s.·_°\[\]()]", "", text)


HAZE = _quantity(
    "EBC",
    ("EBC", "ebcunits ebcu ebchaze ebcunit", Fraction(1)),
    ("NTU", "ntus fnu fnus ebcntu", _NTU),
    ("ASBC FTU", "ftuasbc asbc asbcunits asbcftus", _ASBC_FTU),
    asked={"ftu": ("ASBC FTU", "NTU"), "ftus": ("ASBC FTU", "NTU"), "formazin": ("ASBC FTU", "NTU")},
    unstated=("EBC", "NTU", "ASBC FTU"),
)
_LIQUID_OXYGEN = _quantity(
    "µg/L",
    ("µg/L", "ppb ppbo2 ppbw/w ppbw ug/lo2 ugo2/l", Fraction(1)),
    ("mg/L", "ppm ppmo2 ppmw/w ppmw mg/lo2 mgo2/l", Fraction(1000)),
    per={"mass/volume": ("µg/L", Fraction(10**9))},
    unstated=("µg/L", "mg/L"),
)
_GAS_OXYGEN = _quantity(
    "%",
    ("%", "%o2 %v/v %vol percent pct vol% %byvolume %vv o2%", Fraction(1)),
    ("ppmv", "ppm ppmo2 ppmv/v ppmvol", Fraction(1, 10**4)),
    unstated=("%", "ppmv"),
)
_TEMPERATURE = _quantity(
    "°C",
    ("°C", "c celsius centigrade", Fraction(1)),
    ("°F", "f fahrenheit", Fraction(5, 9)),
    ("K", "kelvin", Fraction(1)),
    offsets={"°F": Fraction(-160, 9), "K": Fraction("-273.15")},
    unstated=("°C", "°F"),
)
_CARBON_DIOXIDE = _quantity(
    "g/L",
    ("volumes", "vol vols volume v/v volco2 volsco2 volumesco2 vco2", _CO2_VOLUME),
    ("g/L", "g/lco2 gco2/l", Fraction(1)),
    ("% by mass", "%w/w %wt wt% %w %w/v %bymass %byweight", Fraction(10)),
    ("ppm", "", Fraction(1, 1000)),
    per={"mass/volume": ("g/L", Fraction(1000))},
    asked={"%": ("% by mass", "volumes")},
    unstated=("g/L", "volumes"),
)
_GRAVITY = _quantity(
    "°P",
    ("°P", "p plato", Fraction(1)),
    ("SG", "sg specificgravity sg20/20 og fg", Fraction(1)),
    ("SG × 1000", "sgx1000 sg*1000 kg/m3 kg/m^3 g/l", Fraction(1, 1000)),
    unstated=("°P", "SG", "SG × 1000"),
)
_DURATION = _quantity(
    "min",
    ("min", "mins minute minutes m", Fraction(1)),
    ("h", "hr hrs hour hours", Fraction(60)),
    ("s", "sec secs second seconds", Fraction(1, 60)),
    ("d", "day days", Fraction(1440)),
    unstated=("min", "h"),
)
# Oxygen of which a header does not say whether it is in the beer or in the gas: the unit tells, but for "ppm".
_OXYGEN = Quantity(
    "µg/L",
    _LIQUID_OXYGEN.per,
    {**_GAS_OXYGEN.words, **_LIQUID_OXYGEN.words},
    {"ppm": ("mg/L", "ppmv"), "ppmo2": ("mg/L", "ppmv")},
    ("µg/L", "mg/L", "%"),
)
_PRESSURE = _quantity(
    "kPa",
    ("kPa", "", Fraction(1)),
    ("bar", "bars barg bara", Fraction(100)),
    ("mbar", "", Fraction(1, 10)),
    ("psi", "psig psia lb/in2 lb/in^2 lbf/in2 lb/sqin", _PSI),
    ("atm", "", Fraction("101.325")),
    unstated=("bar", "psi", "kPa"),
)
YEAST = _quantity(
    "10⁶/mL",
    ("10⁶/mL", "", Fraction(1)),
    ("cells/mL", "", Fraction(1, 10**6)),
    unstated=("10⁶/mL", "cells/mL"),
)
_DOSE_WORDS = (("ppm by mass", "ppmw/w ppmw", Fraction(1, 10)),)
_VOLUMES = {"volume": ("mL", Fraction(1)), "volume/volume": ("mL/hL", Fraction(10**5))}
_DOSE = _quantity(
    "g/hL",
    *_DOSE_WORDS,
    per={"mass": ("g", Fraction(1)), "mass/volume": ("g/hL", Fraction(10**5)), **_VOLUMES},
    asked={"ppm": ("mg/L", "mL/m³")},
)
_DRY_HOP = _quantity("g/L", per={"mass": ("g", Fraction(1)), "mass/volume": ("g/L", Fraction(1000))})

QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        "dissolved_oxygen": _LIQUID_OXYGEN,
        "total_oxygen": _LIQUID_OXYGEN,
        "headspace_oxygen": _GAS_OXYGEN,
        "oxygen": _OXYGEN,
        "haze": HAZE,
        "haze_forward": HAZE,
        "chill_haze": HAZE,
        "temperature": _TEMPERATURE,
        "fill_temperature": _TEMPERATURE,
        "carbon_dioxide": _CARBON_DIOXIDE,
        "ph": _quantity("", ("", "ph phunits phunit -", Fraction(1))),
        "yeast_count": YEAST,
        "volume": _quantity("hL", per={"volume": ("hL", Fraction(1, 10**5))}, unstated=("hL", "L", "US bbl", "UK bbl")),
        "size": _quantity("mL", per={"volume": ("mL", Fraction(1))}, unstated=("mL", "L")),
        "headspace": _quantity("mL", per={"volume": ("mL", Fraction(1))}),
        "gravity": _GRAVITY,
        "original_gravity": _GRAVITY,
        "final_gravity": _GRAVITY,
        "minutes": _DURATION,
        "pressure": _PRESSURE,
        "dose": _DOSE,
        "dry_hop": _DRY_HOP,
    }
)
POINTS = _quantity("points", ("points", "point pts /5 /9 /10 /100 score", Fraction(1)))
