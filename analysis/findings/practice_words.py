"""What is a practice, or a dose of it, called inside a sentence?"""

from __future__ import annotations

import re

from analysis.findings.wording import figure
from analysis.vocabulary import PRACTICES

__all__ = ["dose_in_words", "spoken", "spoken_name"]

_YES_OR_NO = re.compile(r"\s*[(\[]\s*(?:y\s*[/ ]\s*n|yes\s*[/ ]\s*no)\s*[)\]]\s*$", re.IGNORECASE)
_CUT = {p.label: p.label.partition(",")[0] for p in PRACTICES.values()}


def spoken(label: str) -> str:
    """Return a label as it stands inside a sentence.

    >>> spoken("Rouse time, all rouses"), spoken("Air bled? (Y/N)"), spoken("CO2 purge")
    ('rouse time', 'air bled', 'CO2 purge')
    """
    words = _YES_OR_NO.sub("", _CUT.get(label, label)).rstrip("?: ")
    if words[1:2].isupper() or words[1:2].isdigit() or len(words) == 1:
        return words
    return words[:1].lower() + words[1:]


def spoken_name(name: str) -> str:
    """Return a practice's kept name as it stands inside a sentence.

    >>> spoken_name("silica_sol_dose"), spoken_name("cold_hours")
    ('silica sol dose', 'time cold')
    """
    return spoken(PRACTICES[name].label) if name in PRACTICES else name.replace("_", " ")


def dose_in_words(value: float, unit: str) -> str:
    """Return how much of a practice there was, hours as days.

    >>> dose_in_words(310.2, "mL/hL"), dose_in_words(36.0, "h"), dose_in_words(2.0, "d")
    ('310 mL/hL', '1.5 days', '2 days')
    """
    if unit == "h":
        return figure(float(f"{value / 24:.2g}"), "days")
    return figure(float(f"{value:.3g}"), "days" if unit == "d" else unit)
