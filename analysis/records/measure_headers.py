"""Which measure does a header name, and with which unit, stage and replicate?"""

from __future__ import annotations

import re
from collections.abc import Iterable

from analysis.records.headers import Header
from analysis.records.words import MEASURES

__all__ = ["measure_of"]

_STAGE_WORDS = {
    "bbt": "bright_tank", "bt": "bright_tank", "bright tank": "bright_tank", "bright": "bright_tank",
    "fv": "fermenter", "fermenter": "fermenter", "cct": "fermenter",
    "filler": "filler", "at filler": "filler",
    "can": "pack", "bottle": "pack", "pack": "pack", "keg": "pack", "in pack": "pack", "package": "pack",
    "cask": "pack",
}  # fmt: skip
_NUMBERED = re.compile(r"(.+?)\s*#?([1-9])")


def measure_of(header: Header) -> tuple[str, str | None, str | None, str | None] | None:
    """Return the measure, unit, stage and replicate that a header names, or None where it names no measure.

    >>> from analysis.records.headers import read_header
    >>> measure_of(read_header("BBT DO 2 (ppb)"))
    ('dissolved_oxygen', 'ppb', 'bright_tank', '2')
    """
    for name, unit in header.names:
        for words, replicate in _with_and_without_number(name):
            for bare, stage in _with_and_without_stage(words):
                if bare in MEASURES:
                    return MEASURES[bare], header.unit or unit or _own_unit(bare), stage, replicate
    return None


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
