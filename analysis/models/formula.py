"""Which response, fixed effects and random effects does a formula ask for?

The fixed part is left to formulaic. The random part, ``(columns | group)``, is read here:

=====================  ==========================================================================================
``(1 | batch)``        a random intercept for each batch
``(1 | a:b)``          one for each pair of levels of a and b that occurs
``(1 | a/b)``          ``(1 | a) + (1 | a:b)``
``(x | g)``            intercept and slope of x for each g, correlated; ``(0 + x | g)`` the slope alone
``(x || g)``           the same, uncorrelated
=====================  ==========================================================================================

Source: the notation of Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1), table 2.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["BareColumns", "ModelFormula", "RandomTerm", "bare_columns", "parse_formula", "quoted"]

_BARE = re.compile(r"[^\W\d]\w*")
_NAME = re.compile(r"`[^`]+`|[^\W\d]\w*(?:\.\w+)*")


@dataclass(frozen=True)
class RandomTerm:
    """``columns`` (a formula such as ``1 + x``) varying over the levels of ``group``, the crossing of its factors."""

    columns: str
    group: tuple[str, ...]
    correlated: bool = True

    @property
    def group_name(self) -> str:
        """The factor, or its factors joined by a colon."""
        return ":".join(self.group)


@dataclass(frozen=True)
class ModelFormula:
    """A formula taken apart: ``response ~ fixed + random``."""

    text: str
    response: str
    fixed: str
    random: tuple[RandomTerm, ...]


@dataclass(frozen=True)
class BareColumns:
    """A formula that names columns and nothing else: ``response ~ fixed + …`` and a random intercept for each group."""

    response: str
    constant: bool
    fixed: tuple[str, ...]
    groups: tuple[tuple[str, ...], ...]


def quoted(column: str) -> str:
    """Return a column's name as it must stand in a formula, whatever characters it has.

    Raises
    ------
    ValueError
        If the name holds a backquote.
    """
    if "`" in column:
        raise ValueError(f"quoted: column must not hold a backquote, got {column!r}")
    return column if _BARE.fullmatch(column) else f"`{column}`"


def parse_formula(text: str) -> ModelFormula:
    """Take a formula apart.

    Raises
    ------
    ValueError
        If there is not exactly one ``~``, a parenthesis or backquote is left open, or a random term is not
        ``(columns | group)``.
    """
    sides = text.split("~")
    if len(sides) != 2 or not sides[0].strip() or not sides[1].strip():
        raise ValueError(f"formula must read 'response ~ terms', got {text!r}")
    fixed, random = _take_random_out(sides[1], text)
    terms = tuple(term for inner in random for term in _random_terms(inner, text))
    return ModelFormula(text=text.strip(), response=sides[0].strip(), fixed=fixed, random=terms)


def bare_columns(formula: ModelFormula) -> BareColumns | None:
    """What a formula names, where it names bare columns alone; None where it asks for more."""
    constant, fixed = True, []
    for sign, piece in _top_level_pieces(formula.fixed, formula.text):
        if piece in ("0", "1"):
            constant = (sign == "+") == (piece == "1")
        elif sign == "-" or not _BARE.fullmatch(piece):
            return None
        else:
            fixed.append(piece)
    groups = tuple(term.group for term in formula.random)
    slopes = any(term.columns != "1" for term in formula.random)
    if slopes or not _BARE.fullmatch(formula.response) or formula.response in fixed or len(set(groups)) < len(groups):
        return None
    return BareColumns(formula.response, constant, tuple(dict.fromkeys(fixed)), groups)


def _take_random_out(right: str, text: str) -> tuple[str, list[str]]:
    pieces = _top_level_pieces(right, text)
    random: list[str] = []
    fixed = ""
    for sign, piece in pieces:
        inner = piece[1:-1] if piece.startswith("(") and _closes(piece) == len(piece) - 1 else ""
        if not _has_bar(inner):
            if _has_bar(piece):
                raise ValueError(f"a random term must stand alone in parentheses, got {piece!r} in {text!r}")
            fixed += f" {sign} {piece}" if fixed or sign == "-" else piece
        elif sign == "-":
            raise ValueError(f"a random term cannot be subtracted, got {piece!r} in {text!r}")
        else:
            random.append(inner)
    return (fixed.strip() or "1"), random


def _top_level_pieces(right: str, text: str) -> list[tuple[str, str]]:
    """The summands of the right side with their signs."""
    pieces: list[tuple[str, str]] = []
    depth, quote, sign, current = 0, False, "+", ""
    for letter in right:
        if letter == "`":
            quote = not quote
        elif not quote:
            depth += (letter in "([{") - (letter in ")]}")
            if depth == 0 and letter in "+-":
                if current.strip():
                    pieces.append((sign, current.strip()))
                sign, current = letter, ""
                continue
        current += letter
    if depth or quote:
        raise ValueError(f"formula must close every parenthesis and backquote, got {text!r}")
    return [*pieces, (sign, current.strip())] if current.strip() else pieces


def _closes(piece: str) -> int:
    """Where the parenthesis that opens ``piece`` closes."""
    depth = 0
    for place, letter in enumerate(piece):
        depth += (letter == "(") - (letter == ")")
        if depth == 0:
            return place
    return -1


def _has_bar(piece: str) -> bool:
    return "|" in re.sub(r"`[^`]*`", "", piece)


def _random_terms(inner: str, text: str) -> list[RandomTerm]:
    match = re.fullmatch(r"(?P<columns>[^|]+)(?P<bar>\|{1,2})(?P<group>[^|]+)", inner)
    if match is None:
        raise ValueError(f"a random term must read '(columns | group)', got ({inner}) in {text!r}")
    columns, group = match["columns"].strip(), match["group"].strip()
    nested = [[_factor(name, text) for name in part.split(":")] for part in group.split("/")]
    groups = [tuple(name for part in nested[: depth + 1] for name in part) for depth in range(len(nested))]
    return [RandomTerm(columns, each, correlated=match["bar"] == "|") for each in groups]


def _factor(name: str, text: str) -> str:
    if not _NAME.fullmatch(name.strip()):
        raise ValueError(
            f"a random term's group must be columns joined by ':' or '/', got {name.strip()!r} in {text!r}"
        )
    return name.strip().strip("`")
