"""Which measure does a header name, and with which unit, stage and replicate?"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from analysis.records.headers import Header
from analysis.records.words import MEASURES
from analysis.units import recognise_unit

__all__ = ["OXYGEN_WORDS", "NamedMeasure", "measure_of"]

OXYGEN_WORDS = ("o2", "oxygen")
"""Words that do not say whether the oxygen is in the beer or in the gas: the unit may tell."""

_STAGE_WORDS = {
    "bbt": "bright_tank", "bt": "bright_tank", "bright tank": "bright_tank", "bright": "bright_tank",
    "fv": "fermenter", "fermenter": "fermenter", "cct": "fermenter",
    "filler": "filler", "at filler": "filler",
    "can": "pack", "bottle": "pack", "pack": "pack", "keg": "pack", "in pack": "pack", "package": "pack",
    "cask": "pack",
}  # fmt: skip
_NUMBERED = re.compile(r"(.+?)\s*#?([1-9])")


@dataclass(frozen=True)
class NamedMeasure:
    """The measure that a header names, with the unit, the stage and the number of the replicate that it says.

    ``is_beer_or_gas`` marks oxygen of which nothing tells whether it was read in the beer or in the gas above it: "O2"
    in ppm, which is one thing in a liquid and another in a gas.
    """

    measure: str
    unit: str | None = None
    stage: str | None = None
    replicate: str | None = None
    is_beer_or_gas: bool = False


def measure_of(header: Header) -> NamedMeasure | None:
    """Return the measure that a header names, or None where it names none.

    >>> from analysis.records.headers import read_header
    >>> named = measure_of(read_header("BBT DO 2 (ppb)"))
    >>> named.measure, named.unit, named.stage, named.replicate
    ('dissolved_oxygen', 'ppb', 'bright_tank', '2')
    """
    for name, unit in header.names:
        for words, replicate in _with_and_without_number(name):
            for bare, stage in _with_and_without_stage(words):
                if bare in MEASURES:
                    return _named(bare, header.unit or unit or _own_unit(bare), stage, replicate)
    return None


def _named(word: str, unit: str | None, stage: str | None, replicate: str | None) -> NamedMeasure:
    measure = MEASURES[word]
    if word not in OXYGEN_WORDS or unit is None:
        return NamedMeasure(measure, unit, stage, replicate)
    in_beer = recognise_unit(unit, "dissolved_oxygen") is not None
    in_gas = recognise_unit(unit, "headspace_oxygen") is not None
    if in_gas and not in_beer:
        return NamedMeasure("headspace_oxygen", unit, stage, replicate)
    return NamedMeasure(measure, unit, stage, replicate, is_beer_or_gas=in_gas and in_beer)


def _own_unit(word: str) -> str | None:
    """Return the unit of a header that is nothing but a unit."""
    return word if word in ("ntu", "ebc", "fnu", "ftu") else "EBC" if word == "haze ebc" else None


def _with_and_without_number(name: str) -> Iterable[tuple[str, str | None]]:
    yield name, None
    numbered = _NUMBERED.fullmatch(name)
    if numbered:
        yield numbered[1], numbered[2]


def _with_and_without_stage(words: str) -> Iterable[tuple[str, str | None]]:
    for stage_word, stage in _STAGE_WORDS.items():
        for bare in (words.removeprefix(f"{stage_word} "), words.removesuffix(f" {stage_word}"),
                     words.removesuffix(f" in {stage_word}"), words.removesuffix(f" at {stage_word}")):  # fmt: skip
            if bare != words and bare in MEASURES:
                yield bare, stage
    yield words, None
