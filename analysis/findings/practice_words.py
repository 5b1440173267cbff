"""What is a practice called inside a sentence?"""

from __future__ import annotations

import re

from analysis.vocabulary import PRACTICES

__all__ = ["spoken", "spoken_name"]

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
