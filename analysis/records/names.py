"""Which thing does each cell name: a batch, a vessel, a run, a choice, or yes or no?

People write one batch as 2417, #2417, G2417 and 2417.0, and one tank as FV3, FV 3 and fv-03. A batch number and a
vessel each have a normal form of their own; every other name keeps its letters, so that P40 and R-0231 stay what they
are.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.cells import ERROR, RawColumn, as_text_series
from analysis.records.missing import NO_NAME, is_missing, plain
from analysis.records.parsed import ParsedFlags, ParsedTexts, State

__all__ = [
    "batch_number",
    "name_of",
    "parse_batches",
    "parse_choice",
    "parse_ids",
    "parse_recipes",
    "parse_texts",
    "parse_vessels",
    "parse_yes_no",
    "recipe_name",
    "vessel_letters",
    "vessel_name",
]

_BATCH = re.compile(
    r"(?:(?P<word>gyle|brew|batch|lot|charge|ferment)\b[\s.:\-_]*)?"
    r"(?:(?P<number>number|no|nr|num)\b[\s.:\-_]*)?"
    r"(?:\#\s*|(?P<letter>[gbl])[\s.\-_]?(?=\d))?"
    r"0*(?P<digits>\d+)(?:\.0+)?\s*(?P<part>[a-z]?)",
    re.IGNORECASE,
)
_JOINED_WORD = re.compile(r"(?i)(gyle|brew|batch|lot)(?=\d)")
_VESSEL = re.compile(
    r"(?P<letters>[a-z]{1,5})[\s.\-_#]*(?:(?:no|nr|number)\b[\s.:]*)?0*(?P<digits>\d+)(?P<part>[a-z]?)", re.IGNORECASE
)
_LETTERS_OF_VESSELS = frozenset({"FV", "CCT", "CV", "MV", "BBT", "BT", "DPV"})
_CODE = re.compile(r"(?=.*\d)[a-z]{0,4}[\s\-_/.]?\d[\w\-/.]*", re.IGNORECASE)
_RECIPE_CODE = re.compile(r"[a-z]{0,3}[\-_/.]?\d[\d\-/.]*[a-z]?", re.IGNORECASE)
_WHOLE = re.compile(r"(\d+)\.0+")
_YES = frozenset({"yes", "y", "true", "t", "1", "x", "✓", "✔", "ja", "oui", "done", "ok"})
_NO = frozenset({"no", "n", "false", "f", "0", "✗", "✘", "nein", "non", "not done", "none", "nil"})


# What is in its normal form already and no word for missing: of a hundred thousand names nearly all are.
_SETTLED_NAME = r"^[A-Z]{0,4}-?[0-9][A-Z0-9-]*$"
_SETTLED_BATCH = r"^[1-9][0-9]*$"
_SETTLED_VESSEL = r"^[A-Z]{1,5}[1-9][0-9]*$"


def batch_number(text: str, letters: str = "BL") -> str:
    """Return a batch number in its normal form.

    A leading "#", the words gyle, brew, batch and lot with or without "no.", and the G of "gyle" before digits go; so
    do zeros in front, which a spreadsheet program drops from numbers anyway. B and L before digits stay: they may tell
    one series of batches from another, which only all records together show (``linking.numbers``). A letter behind
    ("2417A", a part of a split batch) stays. What is not such a number stays as it is, in capitals.

    ``letters`` are those that stay before digits: "" for the bare number, "BGL" for all.

    >>> [batch_number(t) for t in ("#2417", "G2417", "Brew no. 2417", "02417", "2417a", "24-017", "b-5")]
    ['2417', '2417', '2417', '2417', '2417A', '24-017', 'B5']
    """
    text = " ".join(text.split())
    found = _BATCH.fullmatch(_JOINED_WORD.sub(r"\1 ", text.replace("_", " ")))
    if found is None:
        return name_of(text)
    letter = (found["letter"] or "").upper()
    return f"{letter if letter in letters else ''}{found['digits']}{found['part'].upper()}"


def vessel_name(text: str, letters: str = "") -> str:
    """Return a vessel's name in its normal form: letters in capitals, no gap and no zeros before its number.

    ``letters`` go before a bare number: those of the column's header, as from ``vessel_letters``.

    >>> [vessel_name(t) for t in ("fv 03", "FV-3", "FV no. 3", "Bright Tank 2")]
    ['FV3', 'FV3', 'FV3', 'Bright Tank 2']
    >>> vessel_name("3", "FV")
    'FV3'
    """
    text = " ".join(text.split())
    found = _VESSEL.fullmatch(f"{letters}{name_of(text)}" if letters and text[:1].isdecimal() else text)
    return f"{found['letters']}{found['digits']}{found['part']}".upper() if found else name_of(text)


def vessel_letters(header: str) -> str:
    """Return the letters that a header puts before every vessel's number, "" where it names none or two sorts.

    >>> [vessel_letters(t) for t in ("F.V.", "FV no.", "To BBT", "FV/BBT", "Tank")]
    ['FV', 'FV', 'BBT', '', '']
    """
    words = re.findall(r"[A-Z]+", header.upper().replace(".", ""))
    named = {word for word in words if word in _LETTERS_OF_VESSELS}
    return named.pop() if len(named) == 1 else ""


def _spelled(text: str, code: re.Pattern[str]) -> str:
    """Return a text with single spaces, a whole number without its decimals, and what is a code in capitals."""
    text = " ".join(text.split())
    whole = _WHOLE.fullmatch(text)
    if whole:
        return whole[1]
    return text.upper() if code.fullmatch(text) else text


def name_of(text: str) -> str:
    """Return a name with single spaces; a code such as "r-0231" in capitals; "3.0" as "3".

    >>> [name_of(t) for t in ("p40", " Meter  A", "r-0231", "3.0")]
    ['P40', 'Meter A', 'R-0231', '3']
    """
    return _spelled(text, _CODE)


def recipe_name(text: str) -> str:
    """Return a beer's name as it is spelled, with single spaces; a code such as "p40" in capitals; "3.0" as "3".

    >>> [recipe_name(t) for t in ("Pale  1", "MILD", "p40", "3.0")]
    ['Pale 1', 'MILD', 'P40', '3']
    """
    return _spelled(text, _RECIPE_CODE)


def parse_recipes(column: RawColumn) -> ParsedTexts:
    """Read a column as names of beers: their spelling stays."""
    return _parse(column, recipe_name, settled=_SETTLED_NAME)


def parse_ids(column: RawColumn) -> ParsedTexts:
    """Read a column as names of runs, samples, meters: letters, zeros and hyphens stay."""
    return _parse(column, name_of, settled=_SETTLED_NAME)


def parse_vessels(column: RawColumn, letters: str = "") -> ParsedTexts:
    """Read a column as names of vessels; ``letters`` go before bare numbers, as "FV" over a column of 1, 2, 3."""
    return _parse(column, lambda text: vessel_name(text, letters), settled=_SETTLED_VESSEL)


def parse_batches(column: RawColumn) -> ParsedTexts:
    """Read a column as batch numbers.

    Where the column itself uses one number with two letters (G2417 and B2417), the letters tell batches apart and all
    stay.
    """
    words = column.words.filter(pc.invert(pc.match_substring_regex(column.words, _SETTLED_BATCH))).to_pylist()
    letters = defaultdict(set)
    for word in words:
        found = _BATCH.fullmatch(" ".join(word.split()))
        if found and found["letter"]:
            letters[found["digits"] + found["part"].upper()].add(found["letter"].upper())
    keep = any(len(used) > 1 for used in letters.values())
    return _parse(column, lambda text: batch_number(text, "BGL" if keep else "BL"), settled=_SETTLED_BATCH)


def parse_texts(column: RawColumn) -> ParsedTexts:
    """Read a column as free text; a word such as "n/a" is MISSING."""
    return _parse(column, lambda text: " ".join(text.split()) if "\n" not in text else text)


def parse_choice(column: RawColumn, choices: Mapping[str, str]) -> ParsedTexts:
    """Read a column as one of a few kept words.

    Parameters
    ----------
    column : RawColumn, n rows
    choices : mapping
        What people write, in lower case with single spaces, to the kept word.
    """
    return _parse(column, lambda text: choices.get(plain(text)))


def parse_yes_no(column: RawColumn) -> ParsedFlags:
    """Read a column as yes or no: y/n, yes/no, true/false, 1/0, x for yes."""
    kept = {**dict.fromkeys(_YES, "1"), **dict.fromkeys(_NO, "0")}
    read = _parse(column, lambda text: kept.get(plain(text)), missing=NO_NAME - _YES - _NO)
    value = np.where(read.text == "1", 1.0, 0.0)
    return ParsedFlags(np.where(read.state == State.READ, value, np.nan), read.state)


def _parse(
    column: RawColumn,
    form: Callable[[str], str | None],
    missing: frozenset[str] = NO_NAME,
    settled: str | None = None,
) -> ParsedTexts:
    """Read each word once; words that match ``settled`` stay as they are."""
    code, words = column.as_words()
    is_open = np.ones(len(words), dtype=bool)
    if settled is not None:
        is_open = ~pc.match_substring_regex(words, settled).to_numpy(zero_copy_only=False).astype(bool)
    texts = words.filter(pa.array(is_open)).to_pylist()
    absent = is_missing(texts, missing)
    formed = [None if gone else form(text) for text, gone in zip(texts, absent, strict=True)]
    unread = np.array([text is None for text in formed], dtype=bool)
    state = np.full(len(words) + 1, State.READ, dtype=np.int8)
    state[-1] = State.EMPTY
    state[np.flatnonzero(is_open)[unread]] = State.UNREADABLE
    state[np.flatnonzero(is_open)[absent]] = State.MISSING
    states = state[code]
    if (column.tag == ERROR).any():
        states = np.where(column.tag == ERROR, np.int8(State.MISSING), states)
    read = pc.replace_with_mask(words, pa.array(is_open), pa.array(formed, pa.string()))
    return ParsedTexts(as_text_series(read.take(pa.array(code, mask=code < 0))), states)
