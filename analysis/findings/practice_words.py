"""What is a practice, or a dose of it, called inside a sentence?"""

from __future__ import annotations

import re

from analysis.findings.wording import figure
from analysis.vocabulary import PRACTICES, Measure

__all__ = ["dose_in_words", "named", "quoted_level", "spoken", "spoken_measure", "spoken_name"]

_YES_OR_NO = re.compile(r"\s*[(\[]\s*(?:y\s*[/ ]\s*n|yes\s*[/ ]\s*no)\s*[)\]]\s*$", re.IGNORECASE)
_CUT = {p.label: p.label.partition(",")[0] for p in PRACTICES.values()}
# In a sentence such a name would be taken for several words of it, or run on for lines.
_NEEDS_QUOTES = re.compile(r"[,;:|\[\]#]|^\W|.{60}")
# A level that is a code (2, FV3, L-1) is said as it is; a word is quoted.
_CODE = re.compile(r"[A-Za-z]{0,3}[- ]?\d+[A-Za-z]?")


def named(label: str, unit: str = "") -> str:
    """Return a label as it was written, without the question mark, "(y/n)" or unit behind it; "Sparge (pH)" is whole.

    >>> named("Air bled? (Y/N)"), named("Pitch rate (g/hL)", "g/hL")
    ('Air bled', 'Pitch rate')
    """
    words = _YES_OR_NO.sub("", _CUT.get(label, label)).strip()
    if unit and unit != "pH" and words.endswith((f"({unit})", f"[{unit}]")):
        words = words[: -len(unit) - 2]
    return words.rstrip("?: ") or label


def spoken(label: str, unit: str = "") -> str:
    """Return a label as it stands inside a sentence, in quotes where it would not be seen to be a name.

    >>> spoken("Rouse time, all rouses"), spoken("Air bled? (Y/N)"), spoken("CO2 purge"), spoken("Rack 2, hours")
    ('rouse time', 'air bled', 'CO2 purge', '“Rack 2, hours”')
    """
    words = named(label, unit)
    if _NEEDS_QUOTES.search(words):
        return f"“{words}”"
    if words[1:2].isupper() or words[1:2].isdigit() or len(words) == 1:
        return words
    return words[:1].lower() + words[1:]


def quoted_level(level: str) -> str:
    """Return a level of a category as it stands inside a sentence.

    >>> quoted_level("2"), quoted_level("FV3"), quoted_level("East, C")
    ('2', 'FV3', '“East, C”')
    """
    return level if _CODE.fullmatch(level) else f"“{level}”"


def spoken_name(name: str) -> str:
    """Return a practice's kept name as it stands inside a sentence.

    >>> spoken_name("silica_sol_dose"), spoken_name("cold_hours")
    ('silica sol dose', 'time cold')
    """
    return spoken(PRACTICES[name].label) if name in PRACTICES else name.replace("_", " ")


def spoken_measure(measure: Measure) -> str:
    """Return a measure's label as it stands inside a sentence: "dissolved oxygen", "pH"."""
    return measure.label if measure.label[1:2].isupper() else measure.label[:1].lower() + measure.label[1:]


def dose_in_words(value: float, unit: str) -> str:
    """Return how much of a practice there was, hours as days.

    >>> dose_in_words(310.2, "mL/hL"), dose_in_words(36.0, "h"), dose_in_words(2.0, "d")
    ('310 mL/hL', '1.5 days', '2 days')
    """
    if unit == "h":
        return figure(float(f"{value / 24:.2g}"), "days")
    return figure(float(f"{value:.3g}"), "days" if unit == "d" else unit)
