"""What does each column of a sheet mean, if the sheet is of a given kind?

A header's words are looked up among the kind's own; where two headers could be one column the surer word has it, and
the other is kept as a further column. A moment may stand in two columns, a date and a clock time: which is which is
told from their cells. In a wide sheet each measure (or tasting attribute) has a column of its own, and a meter, a unit
or a temperature belongs to the measures that it stands beside.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analysis.records import kinds
from analysis.records.answers import Answers
from analysis.records.headers import Angle, Header
from analysis.records.marks import EXAMPLE_HEADER, REASON, SAMPLE
from analysis.records.parsed import DateOrder
from analysis.records.words import ATTRIBUTES, CLOCKS, HEADERS, MEASURES, METERS, NOT_ATTRIBUTES
from analysis.vocabulary import MEASURES as KEPT_MEASURES
from analysis.vocabulary import slug

__all__ = [
    "WIDE_KINDS",
    "Looks",
    "Match",
    "Meaning",
    "Role",
    "column_choices",
    "match_kind",
    "measure_of",
    "wide_columns",
]

Role = Literal["kept", "clock", "measure", "attribute", "meter", "unit", "extra", "ignore"]
Look = Literal["number", "clock", "moment", "text", "empty"]
Looks = Callable[[int], Look]

WIDE_KINDS = ("pack_runs", "readings")
_SURE, _WEAK = 0, 1
_NUMERIC = ("number", "count")
_PACK_ONLY = ("format", "size", "headspace", "line", "fill_temperature")
_STAGE_WORDS = {
    "bbt": "bright_tank", "bt": "bright_tank", "bright tank": "bright_tank", "bright": "bright_tank",
    "fv": "fermenter", "fermenter": "fermenter", "cct": "fermenter",
    "filler": "filler", "at filler": "filler",
    "can": "pack", "bottle": "pack", "pack": "pack", "keg": "pack", "in pack": "pack", "package": "pack",
    "cask": "pack",
}  # fmt: skip
_NO_MEASURE = ("", None, None, None)
_NUMBERED = re.compile(r"(.+?)\s*#?([1-9])")
_METER_HEADER = re.compile(r"(.+?)\s+(?:meter|instrument|probe|analyser|analyzer|device)(?:\s+used)?")
_METER_FAMILY = {word: family for family, words in {
    "oxygen": "do o2 oxygen tpo d o do2 dissolved_oxygen",
    "haze": "haze turbidity ntu ebc turb", "co2": "co2 carb carbonation", "ph": "ph",
    "yeast": "cell cells yeast count", "temperature": "temp temperature",
}.items() for word in words.split()}  # fmt: skip


@dataclass(frozen=True)
class Meaning:
    """What one column means.

    ``name`` is a kept column (for "kept", and for "clock" the moment that the clock time completes), a measure, an
    attribute, or for a "meter" and a "unit" of a wide sheet "" or what it is the meter of; ``measures`` says whose.
    ``is_weak`` marks a word that could mean something else.
    """

    column: int
    header: str
    role: Role
    name: str = ""
    unit: str | None = None
    angle: Angle | None = None
    order: DateOrder | None = None
    stage: str | None = None
    replicate: str | None = None
    measures: tuple[int, ...] = ()
    is_weak: bool = False


@dataclass(frozen=True)
class Match:
    """How well a sheet fits a kind: what its columns mean, a score, and what is lacking for the kind."""

    kind: str
    meanings: tuple[Meaning, ...]
    score: float
    lacking: tuple[str, ...]
    unknown_answers: tuple[tuple[str, str], ...] = ()

    @property
    def is_wide(self) -> bool:
        """Whether measures or attributes stand in columns of their own."""
        return any(meaning.role in ("measure", "attribute") for meaning in self.meanings)

    def kept(self, name: str) -> Meaning | None:
        """Return the column that was taken for a kept one."""
        return next((m for m in self.meanings if m.role == "kept" and m.name == name), None)


@dataclass(frozen=True)
class _Candidate:
    rank: int
    reading: int
    place: int
    header: Header
    name: str
    unit: str | None
    column: int


def wide_columns(kind: str) -> tuple[kinds.Column, ...]:
    """Return the columns that a sheet of a kind may have: a sheet of packaging runs may have those of readings too."""
    own = kinds.KINDS[kind].columns
    if kind != "pack_runs":
        return tuple(column for column in own if column.name != "sign")
    names = {column.name for column in own} | {"quantity", "value", "sign", "unit"}
    return (*own, *(column for column in kinds.KINDS["readings"].columns if column.name not in names))


def column_choices(kind: str) -> tuple[str, ...]:
    """Return what a person may say that a header of a sheet of a kind means."""
    names = [column.name for column in wide_columns(kind)]
    measures = list(KEPT_MEASURES) if kind in WIDE_KINDS else ["attribute"] if kind == "tastings" else []
    return (*dict.fromkeys([*names, *measures]), "extra", "ignore")


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


def match_kind(kind: str, headers: Sequence[Header | None], looks: Looks, answers: Answers) -> Match:
    """Return what the columns mean if the sheet is of that kind.

    Parameters
    ----------
    kind : str
        A kind of record.
    headers : sequence of Header or None
        One a column; None where a column has neither a header nor cells.
    looks : function of a column's number
        What most of its cells look like.
    answers : Answers
        What a person said of the sheet.
    """
    columns = {column.name: column for column in wide_columns(kind)}
    said, unknown = _said(kind, headers, answers, columns)
    meanings = {m.column: m for m in said}
    free = [(j, header) for j, header in enumerate(headers) if header is not None and j not in meanings]
    moments = tuple(column.name for column in columns.values() if column.type in ("moment", "date"))
    _take_moments(kind, moments, headers, looks, meanings, {m.column: m.name for m in said if m.name in moments})
    _take_columns(kind, columns, free, looks, meanings)
    if kind in WIDE_KINDS and not _has(meanings, "quantity", "value"):
        _take_measures(free, looks, meanings)
    if kind == "tastings" and not _has(meanings, "attribute", "score"):
        _take_attributes(free, looks, meanings)
    if not any(m.role in ("measure", "attribute") for m in meanings.values()):
        _settle_narrow(kind, meanings)
    rest = [Meaning(j, header.text, "extra") for j, header in free if j not in meanings]
    found = _owned(tuple(sorted([*meanings.values(), *rest], key=lambda m: m.column)))
    return Match(kind, found, _score(found), _lacking(kind, found), unknown)


def _has(meanings: dict[int, Meaning], *names: str) -> bool:
    kept = {m.name for m in meanings.values() if m.role == "kept"}
    return all(name in kept for name in names)


def _said(
    kind: str, headers: Sequence[Header | None], answers: Answers, columns: dict[str, kinds.Column]
) -> tuple[list[Meaning], tuple[tuple[str, str], ...]]:
    meanings, unknown = [], []
    for j, header in enumerate(headers):
        name = answers.column(header.text) if header is not None else None
        if header is None:
            continue
        if header.text in (REASON, EXAMPLE_HEADER):
            meanings.append(Meaning(j, header.text, "ignore"))
        elif header.text == SAMPLE and "sample" in columns:
            meanings.append(Meaning(j, header.text, "kept", "sample"))
        if name is None:
            continue
        role = _role_said(kind, name, columns)
        if role is None:
            unknown.append((header.text, name))
            continue
        unit = (
            next((unit for _, unit in (*header.names, ("", None)) if unit), None)
            if header.unit is None
            else header.unit
        )
        kept_name = slug(header.names[0][0]) if name == "attribute" else "" if role in ("extra", "ignore") else name
        read = measure_of(header) if role == "measure" else None
        stage, replicate = (read[2], read[3]) if read else (None, None)
        unit = read[1] if read else unit
        meanings.append(Meaning(j, header.text, role, kept_name, unit, header.angle, header.order, stage, replicate))
    return meanings, tuple(unknown)


def _role_said(kind: str, name: str, columns: dict[str, kinds.Column]) -> Role | None:
    if name in ("extra", "ignore"):
        return "extra" if name == "extra" else "ignore"
    if name in columns:
        return "kept"
    if kind in WIDE_KINDS and name in KEPT_MEASURES:
        return "measure"
    return "attribute" if kind == "tastings" and name else None


def _take_moments(
    kind: str,
    moments: Sequence[str],
    headers: Sequence[Header | None],
    looks: Looks,
    meanings: dict[int, Meaning],
    said: dict[int, str],
) -> None:
    """Find the date and the clock of each moment; an explicit word goes before a general one."""
    offers: list[tuple[int, int, str, bool]] = []
    for j, header in enumerate(headers):
        if header is None or (j in meanings and j not in said):
            continue
        for name in moments:
            rank = _SURE - 1 if said.get(j) == name else None if j in said else _moment_rank(kind, name, header)
            look = looks(j)
            if rank is None or (rank >= _WEAK and look in ("text", "number") and not _names_a_date(header)):
                continue
            open_look = look in ("empty", "number", "text")
            rank += 0 if look in ("moment", "clock", "empty") else 1
            offers.append((rank, j, name, look == "clock" or (open_look and _is_clock_word(kind, name, header))))
    taken: set[tuple[str, bool]] = set()
    for rank, j, name, is_clock in sorted(offers, key=lambda offer: (offer[0], moments.index(offer[2]), offer[1])):
        if (name, is_clock) in taken or (j in meanings and j not in said) or (j in said and said[j] != name):
            continue
        header = headers[j]
        assert header is not None  # offers name only columns with a header
        role: Role = "clock" if is_clock else "kept"
        meanings[j] = Meaning(j, header.text, role, name, order=header.order, is_weak=rank >= _WEAK)
        said.pop(j, None)
        taken.add((name, is_clock))
    for name in moments:
        if (name, True) in taken and (name, False) not in taken and not _has_date(kind, name, taken):
            _drop_clock(name, meanings)


def _names_a_date(header: Header) -> bool:
    """Tell whether a general word is over a date all the same, though few cells of it can be read."""
    return any(word in ("date", "day", "time", "datetime", "moment", "when") for word in header.words.split())


def _has_date(kind: str, name: str, taken: set[tuple[str, bool]]) -> bool:
    """Tell whether a clock without a date of its own has that of the start."""
    return kind == "operations" and name == "ended_at" and ("started_at", False) in taken


def _drop_clock(name: str, meanings: dict[int, Meaning]) -> None:
    for j in [j for j, m in meanings.items() if m.role == "clock" and m.name == name]:
        meanings[j] = Meaning(j, meanings[j].header, "extra")


def _moment_rank(kind: str, name: str, header: Header) -> int | None:
    ranks = [_rank(_words(kind, name), header), _rank(_clock_words(kind, name), header)]
    known = [rank for rank in ranks if rank is not None]
    return min(known) if known else None


def _words(kind: str, name: str) -> dict[str, int]:
    words = HEADERS[kind].get(name)
    if words is None and kind == "pack_runs":
        words = HEADERS["readings"].get(name)
        if name == "measured_at":  # a general word is the packaging's first, but the reading's where that has its own
            return {word: rank + 1 if rank else rank for word, rank in (words or {}).items()}
    return dict(words or {})


def _clock_words(kind: str, name: str) -> dict[str, int]:
    words = CLOCKS.get(kind, {}).get(name)
    if words is None and kind == "pack_runs" and name == "measured_at":
        words = dict.fromkeys(CLOCKS["readings"]["measured_at"], _WEAK + 1)
    return dict(words or {})


def _is_clock_word(kind: str, name: str, header: Header) -> bool:
    return _rank(_clock_words(kind, name), header) is not None and _rank(_words(kind, name), header) is None


def _rank(words: dict[str, int], header: Header) -> int | None:
    ranks = [words[name] for name, unit in header.names if name in words and unit is None]
    return min(ranks) if ranks else None


def _take_columns(
    kind: str,
    columns: dict[str, kinds.Column],
    free: Sequence[tuple[int, Header]],
    looks: Looks,
    meanings: dict[int, Meaning],
) -> None:
    candidates = []
    for place, (name, column) in enumerate(columns.items()):
        if column.type in ("moment", "date"):
            continue
        words = _words(kind, name)
        for j, header in free:
            for reading, (said, unit) in enumerate(header.names):
                if said in words and not (unit and column.type not in _NUMERIC):
                    own = (
                        said
                        if (name == "minutes" and words[said] == _WEAK) or said in ("minutes", "mins", "min")
                        else None
                    )
                    candidates.append(
                        _Candidate(words[said], reading, place, header, name, header.unit or unit or own, j)
                    )
                    break
    has_measures = kind in WIDE_KINDS and any(
        (measure_of(h) or _NO_MEASURE)[0] not in ("", "temperature") for _, h in free
    )
    taken = {m.name for m in meanings.values() if m.role == "kept"}
    for each in sorted(candidates, key=lambda c: (c.rank, c.reading, c.column, c.place)):
        if (
            each.name in taken
            or each.column in meanings
            or (columns[each.name].type in _NUMERIC and looks(each.column) == "moment")
        ):
            continue
        if has_measures and each.name in ("temperature", "fill_temperature") and each.rank == _WEAK:
            continue
        meanings[each.column] = Meaning(
            each.column, each.header.text, "kept", each.name, each.unit, each.header.angle, is_weak=each.rank >= _WEAK
        )
        taken.add(each.name)


def _take_measures(free: Sequence[tuple[int, Header]], looks: Looks, meanings: dict[int, Meaning]) -> None:
    _release(("quantity", "value"), meanings)
    for j, header in free:
        read = measure_of(header) if j not in meanings else None
        if read is not None and looks(j) in ("number", "empty", "text"):
            name, unit, stage, replicate = read
            angle = "forward" if name == "haze_forward" else header.angle or _angle_in_words(header.words)
            is_forward = name == "haze" and angle == "forward"
            meanings[j] = Meaning(
                j, header.text, "measure", "haze_forward" if is_forward else name, unit, angle, None, stage, replicate
            )
    measures = [m for m in meanings.values() if m.role == "measure"]
    for m in [
        m for m in meanings.values() if m.role == "kept" and m.name == "temperature" and m.is_weak and not measures
    ]:
        meanings[m.column] = replace(m, role="measure", is_weak=False)
    others = [m for m in measures if m.name != "temperature"]
    if others and _has(meanings, "run") and not _has(meanings, "temperature"):
        for m in [m for m in measures if m.name == "temperature" and m.stage is None][:1]:
            meanings[m.column] = replace(m, role="kept")
    _take_meters_and_units(free, meanings)


def _angle_in_words(words: str) -> Angle | None:
    return "90" if re.search(r"(?:^|[\shs])90\b", words) else None


def _release(names: Sequence[str], meanings: dict[int, Meaning]) -> None:
    """Give back columns that make no sense alone: a "quantity" without a "value"."""
    for j in [j for j, m in meanings.items() if m.role == "kept" and m.name in names and m.is_weak]:
        del meanings[j]


def _take_meters_and_units(free: Sequence[tuple[int, Header]], meanings: dict[int, Meaning]) -> None:
    if not any(m.role == "measure" for m in meanings.values()):
        return
    for j, header in free:
        m = meanings.get(j)
        if m is not None and m.role == "kept" and m.name in ("meter", "unit"):
            meanings[j] = replace(m, role="meter" if m.name == "meter" else "unit", name="")
        elif m is None:
            named = _METER_HEADER.fullmatch(header.words)
            family = _METER_FAMILY.get(named[1]) if named else None
            if family is not None:
                meanings[j] = Meaning(j, header.text, "meter", family)
            elif re.fullmatch(r"(?:meter|instrument|probe|unit|units)(?: no| id)?", header.words):
                meanings[j] = Meaning(j, header.text, "unit" if header.words.startswith("unit") else "meter")


def _owned(meanings: tuple[Meaning, ...]) -> tuple[Meaning, ...]:
    """Say whose each meter and unit is: the measures of its name, or those that it stands beside."""
    measures = [m for m in meanings if m.role == "measure"]
    return tuple(
        replace(m, measures=_beside(m, meanings, measures)) if m.role in ("meter", "unit") else m for m in meanings
    )


def _beside(own: Meaning, meanings: Sequence[Meaning], measures: Sequence[Meaning]) -> tuple[int, ...]:
    if own.name:
        return tuple(m.column for m in measures if m.name in METERS[own.name])
    alike = [m.column for m in meanings if m.role == own.role and not m.name]
    named = {m.name for m in meanings if m.role == own.role and m.name}
    free = [m for m in measures if not any(m.name in METERS[family] for family in named)]
    if len(alike) == 1:
        return tuple(m.column for m in free)
    leads = not any(m.column < alike[0] for m in free)
    if leads:
        following = [c for c in alike if c > own.column]
        return tuple(m.column for m in free if own.column < m.column < (following[0] if following else 10**9))
    before = [c for c in alike if c < own.column]
    last = own.column == alike[-1]
    return tuple(
        m.column for m in free if (before[-1] if before else -1) < m.column and (m.column < own.column or last)
    )


def _take_attributes(free: Sequence[tuple[int, Header]], looks: Looks, meanings: dict[int, Meaning]) -> None:
    _release(("attribute", "score"), meanings)
    for j, header in free:
        words = header.words
        known = words in ATTRIBUTES
        if j not in meanings and words not in NOT_ATTRIBUTES and (known or looks(j) == "number"):
            meanings[j] = Meaning(j, header.text, "attribute", slug(words), is_weak=not known)


def _settle_narrow(kind: str, meanings: dict[int, Meaning]) -> None:
    """In a sheet of packaging runs without measures, give back the columns that only a reading has."""
    if kind == "pack_runs":
        own = kinds.KINDS["pack_runs"].names
        for j in [j for j, m in meanings.items() if m.role in ("kept", "clock") and m.name not in own]:
            del meanings[j]


def _score(meanings: Sequence[Meaning]) -> float:
    worth = {"kept": 1.0, "clock": 0.3, "measure": 0.8, "attribute": 0.6, "meter": 0.5, "unit": 0.3, "ignore": 0.0}
    score = sum(worth.get(m.role, -0.1) * (0.5 if m.is_weak else 1.0) for m in meanings)
    return round(score, 6)


def _lacking(kind: str, meanings: Sequence[Meaning]) -> tuple[str, ...]:
    kept = {m.name for m in meanings if m.role == "kept"}
    if kind in ("batches", "taste_tests", "meter_checks"):
        return tuple(c.name for c in kinds.KINDS[kind].columns if c.required and c.name not in kept)
    return tuple(words for words, is_there in _needs(kind, kept, meanings) if not is_there)


def _needs(kind: str, kept: set[str], meanings: Sequence[Meaning]) -> list[tuple[str, bool]]:
    measures = any(m.role == "measure" for m in meanings)
    attributes = any(m.role == "attribute" for m in meanings)
    if kind == "transfers":
        vessels = {"from_vessel", "to_vessel"} <= kept
        return [
            ("from_batch", "from_batch" in kept),
            ("to_batch", "to_batch" in kept or ("from_batch" in kept and vessels)),
        ]
    if kind == "operations":
        return [("batch or vessel", bool(kept & {"batch", "vessel"})), ("operation", "operation" in kept),
                ("started_at", "started_at" in kept)]  # fmt: skip
    if kind == "pack_runs":
        packed = next((m for m in meanings if m.role == "kept" and m.name == "packed_at"), None)
        is_log = packed is not None and (not packed.is_weak or not measures or bool(kept & set(_PACK_ONLY)))
        return [("run", "run" in kept), ("batch", "batch" in kept), ("packed_at", is_log)]
    if kind == "readings":
        return [("batch, run or vessel", bool(kept & {"batch", "run", "vessel"})),
                ("quantity", "quantity" in kept or measures), ("value", "value" in kept or measures)]  # fmt: skip
    if kind == "tastings":
        return [("run", "run" in kept), ("panellist", "panellist" in kept),
                ("attribute", "attribute" in kept or attributes), ("score", "score" in kept or attributes)]  # fmt: skip
    limits = bool(kept & {"lower", "upper", "target", "margin"})
    return [("quantity", "quantity" in kept), ("lower, upper, target or margin", limits)]
