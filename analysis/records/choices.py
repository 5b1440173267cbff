"""Which of our few kept words does a cell's word mean: a job, a stage, a kind of pack, a taste test, an agent?

Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType

from analysis.records.words import plain_words

__all__ = ["CHOICES", "agent_of_job", "operation_of", "stage_of_vessel"]

_JOBS: tuple[tuple[str, str], ...] = (
    (r"\b(cip|c i p|clean\w*|rinse\w*|sanitis\w*|sanitiz\w*|steril\w*|inspect\w*|caustic|acid wash)\b", "other"),
    (r"\b(sample\w*|taste\w*|tasting|gravity (?:check|reading)|check\w*|note)\b", "other"),
    (r"\bpurg\w* (?:the |of )?(?:cone|yeast|trub|sludge)|\bcone purg\w*", "dump"),
    (r"\b(?:to|at) [-−]?\d+ ?(?:°|deg(?:rees)?)? ?c\b", "chill"),
    (r"\b(co2|n2|nitrogen|gas|air|hose|headspace|line) (?:purg\w*|sweep\w*|flush\w*)|^purg\w*"
     r"|\bpurge (?:tank|hose|headspace|with|co2|of)\b", "purge"),
    (r"\b(rous\w*|re ?circ\w*|recirculat\w*|pump(?:ed)? (?:round|over)|mixed tank|agitat\w*|stirr\w*)", "rouse"),
    (r"\b(cone|yeast|trub|hop|tank bottom|bottoms?|sludge)s? ?(dump\w*|drop\w*|off|out|purg\w*|blow\w*"
     r"|draw\w*|removal|removed|crop\w*)", "dump"),
    (r"\b(dump\w*|drop(?:ped|s|ping)?|yeast off|crop(?:ped|ping)?|blow ?down|de ?yeast\w*|racked off yeast"
     r"|cone)\b", "dump"),
    (r"\bd ?h ?\d?\b|\bdry ?hop\w*|\bhops? (?:add\w*|charge)|\bhopped\b|\bhop add\w*", "dry_hop"),
    (r"\bfin(?:ed|ing|ings|es)\b|\bisinglass\b|\baux(?:iliary|iliaries)?\b|\bsilica\b|\bpvpp\b"
     r"|\bkieselsol\b|\bgelatine?\b|\bbentonite\b|\bbiofine?\b", "finings"),
    (r"\b(crash\w*|chill\w*|cool\w*|cold (?:crash|condition\w*|break|store|on)|to 0 ?°?c?|set (?:to )?cold"
     r"|glycol on)\b", "chill"),
    (r"\b(transfer\w*|xfer\w*|x fer\w*|trans|tfr|rack\w*|moved?|moving|send|sent|pumped? to|run to|to bbt"
     r"|bbt fill)\b", "transfer"),
    (r"\b(carb\w*|gassed|gas up|spund\w*|co2 up|force carb\w*|carbonation stone)\b", "carbonate"),
    (r"\b(filt\w*|centrifug\w*|spun|cross ?flow|sheet filter|de filter|bright\w* filter)\b", "filter"),
)  # fmt: skip
_AGENTS = {
    "isinglass": "isinglass",
    "pvpp": "pvpp",
    "silica": "silica",
    "gelatin": "gelatine",
    "gelatine": "gelatine",
    "auxiliary": "auxiliary finings",
    "aux": "auxiliary finings",
    "auxiliaries": "auxiliary finings",
    "bentonite": "bentonite",
}
_STAGES: tuple[tuple[str, str], ...] = (
    (r"\b(filler|fill ?heads?|fill|filling|bowl|inline|in line|at line|line|seamer)\b", "filler"),
    (r"\b(can|cans|bottle|bottles|keg|kegs|cask|casks|pack|packs|package|packaged|packed|in ?pack|finished"
     r"|final|product|shelf|warehouse|trade)\b", "pack"),
    (r"\b(bbt|bt|bright|brights|conditioning|maturation|cold tank|dpv|bright_tank)\w*", "bright_tank"),
    (r"\b(bbt|bt)\d", "bright_tank"),
    (r"\b(fv|cct|cv|ferment\w*|fv tank|unitank|ut|primary|fermentation|vessel|tank|cylindro\w*)\b|\b(fv"
     r"|cct|ut)\d", "fermenter"),
)  # fmt: skip
_FORMATS: tuple[tuple[str, str], ...] = (
    (r"\b(cask|casks|firkins?|pins?|kilderkins?|kils?|cask ale)\b", "cask"),
    (r"\b(keg|kegs|kegged|keykegs?|one way keg|growler keg|poly ?kegs?)\b", "keg"),
    (r"\b(bottle|bottles|bottled|btl|btls|nrb|nrbs|glass|bot|stubby|longneck)\b", "bottle"),
    (r"\b(can|cans|canned|tin|tins|sleek|slim|slimline|widget can|crowler)\b|can\b", "can"),
)
_TESTS: tuple[tuple[str, str], ...] = (
    (r"\b(triangle|triangular|tri|triangles)\b", "triangle"),
    (r"\bduo ?trio\b", "duo_trio"),
    (r"\bpair(?:ed|s)?\b|\b2 ?afc\b", "paired"),
)
_VESSELS: tuple[tuple[str, str], ...] = (
    (r"^(?:bbt|bt|bright|dpv|bb)\b|^(?:bbt|bt|dpv|bb)[\s-]*\d|bright", "bright_tank"),
    (r"^(?:fv|cct|ferm\w*|ut|unitank|f)\b|^(?:fv|cct|ut|f)[\s-]*\d|ferment", "fermenter"),
)


def _first(rules: tuple[tuple[str, str], ...]) -> Callable[[str], str | None]:
    compiled = tuple((re.compile(pattern), kept) for pattern, kept in rules)

    def of(text: str) -> str | None:
        plain = plain_words(text)
        return next((kept for pattern, kept in compiled if pattern.search(plain)), None)

    return of


operation_of: Callable[[str], str | None] = _first(_JOBS)
"""Return the kept operation that a job's words mean, None where they are not known."""

stage_of_vessel: Callable[[str], str | None] = _first(_VESSELS)
"""Return the stage that a vessel's name tells: "FV3" is a fermenter, "BBT1" a bright tank."""

CHOICES: Mapping[str, Callable[[str], str | None]] = MappingProxyType(
    {"stage": _first(_STAGES), "format": _first(_FORMATS), "test": _first(_TESTS), "operation": operation_of}
)


def agent_of_job(text: str) -> str | None:
    """Return the agent that a job's words name.

    >>> agent_of_job("Isinglass added")
    'isinglass'
    """
    return next((_AGENTS[word] for word in plain_words(text).split() if word in _AGENTS), None)
