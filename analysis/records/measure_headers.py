"""Which measure does a header name, and with which unit, stage and replicate?"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from analysis.records.headers import Header
from analysis.records.words import MEASURES
from analysis.units import recognise_unit

__all__ = ["OXYGEN_WORDS", "NamedMeasure", "measure_of", "summary_of"]

OXYGEN_WORDS = ("o2", "oxygen")
"""Words that do not say whether the oxygen is in the beer or in the gas: the unit may tell."""

_STAGE_WORDS = {
    "bbt": "bright_tank", "bt": "bright_tank", "bright tank": "bright_tank", "bright": "bright_tank",
    "fv": "fermenter", "fermenter": "fermenter", "cct": "fermenter",
    "filler": "filler", "at filler": "filler",
    "can": "pack", "bottle": "pack", "pack": "pack", "keg": "pack", "in pack": "pack", "package": "pack",
    "cask": "pack",
}  # fmt: skip
_NUMBERED = re.compile(r"(.+?)(?: result| test| value| measurement)?(?: no)? ?#? ?([1-9]|1[0-2])")
_CONTAINERS = ("can", "bottle", "keg", "cask", "pack", "package", "sample", "specimen")
_AGAIN = ("reading", "read", "rep", "replicate", "repeat", "repetition")
_SERIAL = rf"(?P<word>{'|'.join((*_CONTAINERS, *_AGAIN))})(?: no)? ?#? ?(?P<number>[1-9]\d?|[a-f])"
_PART_OF_RUN = r"(?P<number>start|beginning|middle|mid|end|first|last)(?: of)?(?: the)?(?: run)?"
_PART_FIRST = re.compile(rf"{_PART_OF_RUN} (?P<of>.+)")
_PART_LAST = re.compile(rf"(?P<of>.+?)(?: at)? {_PART_OF_RUN}")
_NUMBER_FIRST = re.compile(rf"{_SERIAL} (?P<of>.+)")
_NUMBER_LAST = re.compile(rf"(?P<of>.+) {_SERIAL}")
_SPREAD = "median|min|minimum|max|maximum|sd|stdev|st dev|std dev|range|rsd|cv"
_SUMMARY = re.compile(
    rf"(?P<mean>average|avg|ave|mean)? ?(?:{_SPREAD})? ?(?:of )?(?P<of>.+?)"
    rf"(?: (?P<mean_behind>average|avg|ave|mean))?(?: (?:{_SPREAD}))?"
    r"(?: (?:of|n) ?\d+(?: (?:cans|bottles|packs|kegs|samples))?)?"
)


@dataclass(frozen=True)
class NamedMeasure:
    """The measure that a header names, with the unit, the stage and the number that it says: of a sample ("DO can 2"),
    of a replicate ("DO reading 2"), or a bare one ("DO 2") that may be either.

    ``is_beer_or_gas`` marks oxygen of which nothing tells whether it was read in the beer or in the gas above it: "O2"
    in ppm, which is one thing in a liquid and another in a gas.
    """

    measure: str
    unit: str | None = None
    stage: str | None = None
    replicate: str | None = None
    is_beer_or_gas: bool = False
    sample: str | None = None
    number: str | None = None


def measure_of(header: Header) -> NamedMeasure | None:
    """Return the measure that a header names, or None where it names none.

    >>> from analysis.records.headers import read_header
    >>> named = measure_of(read_header("BBT DO 2 (ppb)"))
    >>> named.measure, named.unit, named.stage, named.number
    ('dissolved_oxygen', 'ppb', 'bright_tank', '2')
    """
    for name, unit in header.names:
        serial = _serial_of(name, header.unit or unit)
        if serial is not None:
            return serial
        for words, number in _with_and_without_number(name):
            for bare, stage in _with_and_without_stage(words):
                if bare in MEASURES:
                    named = _named(bare, header.unit or unit or _own_unit(bare), stage)
                    return named if number is None else replace(named, number=number)
    return None


def summary_of(header: Header) -> tuple[str, bool] | None:
    """Return the measure that a header summarises, and whether it is its mean; None where it is no summary.

    >>> from analysis.records.headers import read_header
    >>> summary_of(read_header("Avg DO (ppb)")), summary_of(read_header("DO max")), summary_of(read_header("DO"))
    (('dissolved_oxygen', True), ('dissolved_oxygen', False), None)
    """
    for name, unit in header.names:
        found = _SUMMARY.fullmatch(name)
        if found is None or found["of"] == name:
            continue
        named = measure_of(replace(header, names=((found["of"], unit),)))
        if named is not None:
            return named.measure, bool(found["mean"] or found["mean_behind"])
    return None


def _serial_of(name: str, unit: str | None) -> NamedMeasure | None:
    """Return the measure of a header that says what it numbers: "DO can 2", "Can 2 DO", "DO reading 2", "Rep 2 DO"."""
    found = _NUMBER_FIRST.fullmatch(name) or _NUMBER_LAST.fullmatch(name)
    if found is None:
        return _part_of_run(name, unit)
    for words, other in _with_and_without_number(found["of"]):
        for bare, stage in _with_and_without_stage(words):
            if bare in MEASURES:
                named = _named(bare, unit or _own_unit(bare), stage)
                if found["word"] in _AGAIN:
                    return replace(named, replicate=found["number"], sample=other)
                in_pack = None if found["word"] in ("sample", "specimen") else "pack"
                return replace(named, stage=stage or in_pack, sample=found["number"].upper(), replicate=other)
    return None


def _part_of_run(name: str, unit: str | None) -> NamedMeasure | None:
    """Return the measure of a header that says from which part of a run its pack is: "DO start", "End TPO"."""
    found = _PART_FIRST.fullmatch(name) or _PART_LAST.fullmatch(name)
    if found is None or found["of"] not in MEASURES:
        return None
    return replace(_named(found["of"], unit or _own_unit(found["of"]), None), sample=found["number"])


def _named(word: str, unit: str | None, stage: str | None) -> NamedMeasure:
    measure = MEASURES[word]
    if word not in OXYGEN_WORDS or unit is None:
        return NamedMeasure(measure, unit, stage)
    in_beer = recognise_unit(unit, "dissolved_oxygen") is not None
    in_gas = recognise_unit(unit, "headspace_oxygen") is not None
    if in_gas and not in_beer:
        return NamedMeasure("headspace_oxygen", unit, stage)
    return NamedMeasure(measure, unit, stage, is_beer_or_gas=in_gas and in_beer)


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
