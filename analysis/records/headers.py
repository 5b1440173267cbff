"""What does one header say: which words, which unit, which angle, which order of day and month?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from analysis.records.parsed import DateOrder
from analysis.records.words import plain_words, singular
from analysis.units import is_unit

__all__ = ["Angle", "Header", "angle_of", "header_key", "read_header", "unique_headers"]

Angle = Literal["90", "forward"]

_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_PARTS = re.compile(r"[\s,;:/|·–—-]+")
_SINGLE_LETTERS = re.compile(r"(?<=\b[a-z]) (?=[a-z]\b)")  # "f v", which was "F.V."
_DEGREES = re.compile(
    r"(?<![\d.,])(90|25|15|13|12|11)\s*(?:°|º|deg\b|degrees?\b|d\b)(?!\s*[cf]\b)|@\s*(90|25|15|13|12|11)\b"
)
_FORWARD = re.compile(r"\b(?:forward|fwd|forwards)\b")
_UNIT_WITHIN = re.compile(
    r"(?<=[\s,])(?:ppb|ppm|ppmv|ntu|ebc|fnu|[µu]g/l|mg/l|g/l|vols?|%)(?=[\s,-]+\S)", re.IGNORECASE
)
_DATE_ORDERS: tuple[tuple[re.Pattern[str], DateOrder], ...] = (
    (re.compile(r"y{2,4}\s*[/.\- ]\s*m{1,2}\s*[/.\- ]\s*d{1,2}\b"), "year-month-day"),
    (re.compile(r"d{1,2}\s*[/.\- ]\s*m{1,3}\b(?:\s*[/.\- ]\s*y{2,4})?"), "day-month"),
    (re.compile(r"m{1,2}\s*[/.\- ]\s*d{1,2}\b(?:\s*[/.\- ]\s*y{2,4})?"), "month-day"),
)


@dataclass(frozen=True)
class Header:
    """One header, read.

    ``text`` is the header as it stands, made unique on its sheet. ``names`` are the readings of its words, each in
    plain form with the unit that it leaves over, the fullest first: "Vol hL" is ("vol hl", None), ("vol", "hL").
    """

    text: str
    names: tuple[tuple[str, str | None], ...]
    unit: str | None
    angle: Angle | None
    order: DateOrder | None

    @property
    def words(self) -> str:
        """The header's words in plain form, without what stands in brackets."""
        return self.names[0][0]


def header_key(text: str) -> str:
    """Return what two writings of one header have in common: case and spaces do not count."""
    return " ".join(text.split()).casefold()


def unique_headers(texts: list[str]) -> list[str]:
    """Return headers made unique: a blank one is named for its column, a second "Meter" becomes "Meter (2)".

    >>> unique_headers(["Meter", "", "meter"])
    ['Meter', 'Column B', 'meter (2)']
    """
    seen: dict[str, int] = {}
    unique = []
    for place, text in enumerate(texts):
        named = " ".join(text.split()) or f"Column {_letters(place)}"
        count = seen[header_key(named)] = seen.get(header_key(named), 0) + 1
        unique.append(named if count == 1 else f"{named} ({count})")
    return unique


def read_header(text: str, key: str | None = None) -> Header:
    """Return what a header says.

    Parameters
    ----------
    text : str
        The header's cell.
    key : str, optional
        The header made unique on its sheet, where that differs.

    >>> read_header("DO (ppb)").names, read_header("DO (ppb)").unit
    ((('do', None),), 'ppb')
    >>> read_header("Haze, EBC").names
    (('haze ebc', None), ('haze', 'EBC'))
    """
    inside = [part.strip() for part in _BRACKETS.findall(text)]
    bare = " ".join(_BRACKETS.sub(" ", text).split()).strip(" :")
    unit = next((unit for part in inside if (unit := _unit_in(part)) is not None), None)
    names = _names(bare, unit is None) if bare else _names(" ".join(inside), False)
    return Header(key or text, names, unit, angle_of(text, inside), _order(text))


def angle_of(text: str, inside: list[str] | None = None) -> Angle | None:
    """Return the angle of scattered light that a text names: "90", "forward" (11° to 25°), or None.

    >>> angle_of("Haze 25° (EBC)"), angle_of("Haze at 90 deg"), angle_of("Haze")
    ('forward', '90', None)
    """
    plain = text.casefold()
    if _FORWARD.search(plain):
        return "forward"
    found = _DEGREES.search(plain)
    bare = next((part for part in inside or [] if part in {"90", "25", "15", "13", "12", "11"}), None)
    degrees = (found[1] or found[2]) if found else bare
    if degrees is None:
        return None
    return "90" if degrees == "90" else "forward"


def _unit_in(part: str) -> str | None:
    if not part or part == "-":
        return None
    if is_unit(part):
        return part
    return next(
        (piece for piece in re.split(r"[,;]|\s+(?:at|@)\s*", part) if piece.strip() and is_unit(piece.strip())), None
    )


def _names(bare: str, with_unit: bool) -> tuple[tuple[str, str | None], ...]:
    """Return the readings of a header's words: whole, and with a unit split off at each place where one can be."""
    readings: list[tuple[str, str | None]] = [(plain_words(bare), None)]
    if with_unit and bare.startswith("%") and len(bare) > 2:
        readings.append((plain_words(bare[1:]), "%"))
    if with_unit:
        for gap in _PARTS.finditer(bare):
            head, tail = bare[: gap.start()], bare[gap.end() :]
            if head and tail and is_unit(tail):
                readings.append((plain_words(head), tail))
        for unit_within in _UNIT_WITHIN.finditer(bare):
            rest = f"{bare[: unit_within.start()]} {bare[unit_within.end() :]}"
            readings.append((plain_words(rest), unit_within.group()))
    for name, unit in tuple(readings):
        short = singular(name)
        if short != name:
            readings.append((short, unit))
        joined = _SINGLE_LETTERS.sub("", short)
        if joined != short:
            readings.append((joined, unit))
    return tuple(dict.fromkeys(readings))


def _order(text: str) -> DateOrder | None:
    plain = text.casefold()
    return next((order for pattern, order in _DATE_ORDERS if pattern.search(plain)), None)


def _letters(place: int) -> str:
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
