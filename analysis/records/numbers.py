"""Which number stands in each cell, with its sign, its unit and its decimal sign?

"<5" stays a limit with its sign; "n/a" stays a missing value with its reason; "1,234" is read only where the column or
the sheet shows which of comma and point is the decimal sign. "ca. 5", "~5" and "5?" are taken as 5 and marked: whoever
writes so has a number in mind, and a note says that it is not exact.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.cells import EMPTY, ERROR, NUMBER, TEXT, RawColumn
from analysis.records.decimals import decimal_of
from analysis.records.missing import NO_VALUE, is_missing
from analysis.records.parsed import Floats, ParsedNumbers, State, States
from analysis.units import is_unit

__all__ = ["CellNumber", "are_ranges", "number_of", "parse_counts", "parse_numbers"]

_PLAIN = {".": r"^[+-]?[0-9]+(\.[0-9]+)?$", ",": r"^[+-]?[0-9]+(,[0-9]+)?$", None: r"^[+-]?[0-9]+(\.[0-9]{1,2})?$"}
_SAME = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "’": "'", "⁻": "-"})
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")
_RANGE = r"^[~]?\s*[0-9]+([.,][0-9]+)?\s*(-|–|—|to|bis)\s*[0-9]+([.,][0-9]+)?\s*[^0-9]*$"
_FRACTIONS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}
_CELL = re.compile(
    r"""
    (?: (?P<less> <=? | =< | ≤ | ⩽ | (?:less|lower)\sthan | below | under )
      | (?P<more> >=? | => | ≥ | ⩾ | (?:more|greater|higher)\sthan | above | over )
      | (?P<about> ca\.? | circa | c\. | approx(?:\.|imately)? | about | around | roughly | ~ | ≈ | ± | \+/- )
    )? \s*
    (?P<minus>[-+]?)
    (?P<digits> \d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?(?![\d.,']) | \d[\d.,]* | [.,]\d+ )? \s?
    (?P<fraction>[½¼¾⅓⅔]?)
    (?: (?:e | \s?[x×·*]\s?10\s?\^?) (?P<power>[-+]?[0-9⁰¹²³⁴⁵⁶⁷⁸⁹]{1,2}) )?
    (?P<doubt> \s?\(?\?\)? | \s?\* | ish\b )? \s*
    (?P<unit>[^\d\s+\-.,<>≤≥~?*=!#&'"|].*)?
    """,
    re.IGNORECASE | re.VERBOSE,
)
_THREE_DIGITS = re.compile(r"[1-9]\d{0,2}([.,])\d{3}")
_GROUPS = {".": re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?"), ",": re.compile(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?")}


@dataclass(frozen=True)
class CellNumber:
    """What one text holds: the number, its sign, its unit as written, and whether it is a rough one."""

    state: State
    value: float = float("nan")
    sign: int = 0
    unit: str = ""
    is_approximate: bool = False


def parse_numbers(column: RawColumn, decimal: str | None = None) -> ParsedNumbers:
    """Read a column as numbers.

    Parameters
    ----------
    column : RawColumn, n rows
    decimal : {".", ","}, optional
        The sheet's decimal sign, where something shows it; what the column itself shows comes first. It settles
        "1,234"; a cell that only one reading explains, such as "0,8", is read so whatever the sign is.

    Raises
    ------
    ValueError
        If ``decimal`` is neither.
    """
    if decimal not in (None, ".", ","):
        raise ValueError(f"parse_numbers: decimal must be '.', ',' or None, got {decimal!r}")
    words, units = column.words, _Units()
    decimal = decimal_of(words) or decimal
    n = len(words) + 1  # the last place is for cells without a word: code −1 finds it
    value, sign, unit_code = np.full(n, np.nan), np.zeros(n, dtype=np.int8), np.full(n, -1, dtype=np.int32)
    state, rough = np.full(n, State.EMPTY, dtype=np.int8), np.zeros(n, dtype=bool)
    for place in _read_plain(words, decimal, value, state):
        read = number_of(words[int(place)].as_py(), decimal)
        value[place], sign[place], state[place], rough[place] = read.value, read.sign, read.state, read.is_approximate
        unit_code[place] = units.code_of(read.unit)
    code = column.code
    values, states = _with_natives(column, value[code], state[code])
    return ParsedNumbers(values, sign[code], states, unit_code[code], units.names, rough[code], decimal)


def parse_counts(column: RawColumn, decimal: str | None = None) -> ParsedNumbers:
    """Read a column as whole numbers; one with a fraction or a sign, or below 0, is UNREADABLE."""
    read = parse_numbers(column, decimal)
    is_count = (read.value == np.floor(read.value)) & (read.value >= 0) & (read.sign == 0)
    wrong = (read.state == State.READ) & ~is_count
    value = np.where(wrong, np.nan, read.value)
    state = np.where(wrong, np.int8(State.UNREADABLE), read.state)
    return ParsedNumbers(value, read.sign, state, read.unit_code, read.units, read.is_approximate, read.decimal)


def are_ranges(column: RawColumn) -> npt.NDArray[np.bool_]:
    """Return which cells hold two numbers as a range ("5-6", "5 to 6 ppb"), shape (n,)."""
    found = pc.match_substring_regex(column.words, _RANGE).to_numpy(zero_copy_only=False).astype(bool)
    return np.asarray(np.append(found, False)[column.code])


def number_of(text: str, decimal: str | None = None) -> CellNumber:
    """Return the number that one text holds.

    >>> number_of("< 5 ppb")
    CellNumber(state=<State.READ: 0>, value=5.0, sign=-1, unit='ppb', is_approximate=False)
    """
    if is_missing([text], NO_VALUE)[0]:
        return CellNumber(State.MISSING)
    cell = _CELL.fullmatch(text.translate(_SAME).strip())
    if cell is None or not (cell["digits"] or cell["fraction"]):
        return CellNumber(State.UNREADABLE)
    unit = (cell["unit"] or "").strip()
    if unit and not is_unit(unit):
        return CellNumber(State.UNREADABLE)
    state, value = _magnitude(cell["digits"] or "0", decimal)
    if state is not State.READ:
        return CellNumber(state)
    value += _FRACTIONS.get(cell["fraction"], 0.0)
    if cell["power"]:
        value = float(f"{value}e{cell['power'].translate(_RAISED)}")
    value = -value if cell["minus"] == "-" else value
    sign = -1 if cell["less"] else 1 if cell["more"] else 0
    return CellNumber(State.READ, value, sign, unit, bool(cell["about"] or cell["doubt"]))


class _Units:
    """The units that stood in cells, each with its place."""

    def __init__(self) -> None:
        self._places: dict[str, int] = {}

    def code_of(self, unit: str) -> int:
        return self._places.setdefault(unit, len(self._places)) if unit else -1

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self._places)


def _read_plain(words: Any, decimal: str | None, value: Floats, state: States) -> np.ndarray:
    """Read the words that are digits with at most a decimal sign; return the places of the others."""
    is_plain = pc.match_substring_regex(words, _PLAIN[decimal])
    plain_words = words.filter(is_plain)
    if decimal == ",":
        plain_words = pc.replace_substring(plain_words, ",", ".")
    mask = is_plain.to_numpy(zero_copy_only=False).astype(bool)
    places = np.flatnonzero(mask)
    value[places] = pc.utf8_ltrim(plain_words, characters="+").cast(pa.float64()).to_numpy(zero_copy_only=False)
    state[places] = State.READ
    return np.flatnonzero(~mask)


def _magnitude(digits: str, decimal: str | None) -> tuple[State, float]:
    digits = digits.replace(" ", "").replace("'", "")
    points, commas = digits.count("."), digits.count(",")
    if not points and not commas:
        return State.READ, float(digits)
    three = _THREE_DIGITS.fullmatch(digits)
    if three and decimal is None:
        return State.AMBIGUOUS, float("nan")
    if points + commas == 1 and not (three and three[1] != decimal):
        return State.READ, float(digits.replace(",", "."))
    last = max(".,", key=digits.rfind) if points and commas else "." if commas else ","
    if not _GROUPS[last].fullmatch(digits):
        return State.UNREADABLE, float("nan")
    thousands = "," if last == "." else "."
    return State.READ, float(digits.replace(thousands, "").replace(",", "."))


def _with_natives(column: RawColumn, value: Floats, state: States) -> tuple[Floats, States]:
    """Put in what the cells hold natively: numbers stand, a date or a yes is no number, an error is a missing value."""
    tag = column.tag
    if bool(((tag == TEXT) | (tag == EMPTY)).all()):
        return value, state
    is_number = tag == NUMBER
    value = np.where(is_number, column.number, value)
    native = np.full(7, State.UNREADABLE, dtype=np.int8)
    native[[NUMBER, EMPTY, ERROR]] = State.READ, State.EMPTY, State.MISSING
    return value, np.where(tag == TEXT, state, native[tag])
