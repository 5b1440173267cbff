"""What does each column of a sheet mean, if the sheet is of a given kind?

A header's words are looked up among the kind's own; where two headers could be one column the surer word has it, and
the other is kept as a further column. A moment may stand in two columns, a date and a clock time: which is which is
told from their cells. In a wide sheet each measure (or tasting attribute) has a column of its own, and a meter, a unit
or a temperature belongs to the measures that it stands beside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.records import kinds
from analysis.records.answers import Answers
from analysis.records.headers import Header
from analysis.records.marks import OURS, SAMPLES
from analysis.records.meaning import WIDE_KINDS, Look, Looks, Match, Meaning, Meanings, Role, has_kept, wide_columns
from analysis.records.measure_headers import measure_of
from analysis.records.moment_meanings import take_moments, words_of
from analysis.records.unit_columns import take_unit_columns
from analysis.records.wide_meanings import owned, take_attributes, take_measures
from analysis.units import recognise_unit
from analysis.vocabulary import MEASURES, slug

__all__ = ["CONTAINERS", "match_kind"]

_WEAK = 1
_NUMERIC = ("number", "count")
_FROM_AND_TO = ("from", "to", "into", "source", "ex", "target")
_UNIT_HEADERS = {
    "minutes": ("minutes", "mins", "min", "hours", "hrs", "hour", "hr"),
    "volume": ("hl", "hls", "bbl", "bbls", "barrels", "litres", "liters"),
    "size": ("ml",),
    "original_gravity": ("plato", "°p", "sg"),
}
"""Headers that are nothing but a unit, and so say theirs, by column."""
CONTAINERS = ("can", "bottle", "keg", "cask", "pack", "package", "container")
"""Words that mean a size where a unit of volume stands with them ("Can ml"), and a sample or a format elsewhere."""
_PACK_ONLY = ("format", "size", "headspace", "line", "fill_temperature")


@dataclass(frozen=True)
class _Candidate:
    rank: int
    reading: int
    place: int
    header: Header
    name: str
    unit: str | None
    column: int


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
    take_moments(kind, moments, headers, looks, meanings, {m.column: m.name for m in said if m.name in moments})
    _take_columns(kind, columns, free, looks, meanings)
    if kind in WIDE_KINDS and not has_kept(meanings, "quantity", "value"):
        take_measures(free, looks, meanings)
    if kind == "tastings" and not has_kept(meanings, "attribute", "score"):
        take_attributes(free, looks, meanings)
    take_unit_columns(kind, headers, free, meanings)
    if not any(m.role in ("measure", "attribute") for m in meanings.values()):
        _settle_narrow(kind, meanings)
    rest = [Meaning(j, header.text, "extra") for j, header in free if j not in meanings]
    found = owned(tuple(sorted([*meanings.values(), *rest], key=lambda m: m.column)))
    return Match(kind, found, _score(found), _lacking(kind, found), unknown)


def _said(
    kind: str, headers: Sequence[Header | None], answers: Answers, columns: dict[str, kinds.Column]
) -> tuple[list[Meaning], tuple[tuple[str, str], ...]]:
    meanings, unknown = [], []
    for j, header in enumerate(headers):
        name = answers.column(header.text) if header is not None else None
        if header is None:
            continue
        if header.text in SAMPLES and "sample" in columns:
            meanings.append(Meaning(j, header.text, "kept", "sample"))
        elif header.text in OURS and header.text not in SAMPLES:
            meanings.append(Meaning(j, header.text, "ignore"))
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
        numbered = (read.stage, read.replicate, read.sample, read.number) if read else (None,) * 4
        unit = read.unit if read else unit
        meanings.append(Meaning(j, header.text, role, kept_name, unit, header.angle, header.order, *numbered))
    return meanings, tuple(unknown)


def _role_said(kind: str, name: str, columns: dict[str, kinds.Column]) -> Role | None:
    if name in ("extra", "ignore"):
        return "extra" if name == "extra" else "ignore"
    if name in columns:
        return "kept"
    if kind in WIDE_KINDS and name in MEASURES:
        return "measure"
    return "attribute" if kind == "tastings" and name else None


def _take_columns(
    kind: str,
    columns: dict[str, kinds.Column],
    free: Sequence[tuple[int, Header]],
    looks: Looks,
    meanings: Meanings,
) -> None:
    candidates = []
    for place, (name, column) in enumerate(columns.items()):
        if column.type in ("moment", "date"):
            continue
        words = words_of(kind, name)
        for j, header in free:
            for reading, (said, unit) in enumerate(header.names):
                known = _is_known(name, said, header.unit or unit, words)
                if known and _has_unit(column, unit) and _fits(name, said, looks(j)):
                    rank = words.get(said, 0) + _may_be_format(name, said, looks(j))
                    own = said if said in _UNIT_HEADERS.get(name, ()) else None
                    candidates.append(_Candidate(rank, reading, place, header, name, header.unit or unit or own, j))
                    break
    has_measures = kind in WIDE_KINDS and any(
        (named := measure_of(h)) is not None and named.measure != "temperature" for _, h in free
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


def _is_known(name: str, said: str, unit: str | None, words: Mapping[str, int]) -> bool:
    """Tell whether words can be a column's; a container with a unit of volume ("Can ml") is nothing but a size."""
    if said in CONTAINERS and unit is not None and recognise_unit(unit, "size") is not None:
        return name == "size"
    return said in words


def _has_unit(column: kinds.Column, unit: str | None) -> bool:
    """Tell whether a unit split off a header's words can be the column's: "O2 %" is none of a headspace's volume."""
    if unit is None or not column.unit:
        return unit is None or column.type in _NUMERIC
    return recognise_unit(unit, column.name) is not None


def _may_be_format(name: str, said: str, look: Look) -> bool:
    """Tell whether words under "Pack" may be cans and bottles, not the number of a run or a sample."""
    return name in ("run", "sample") and said in ("pack", "package", "packaging") and look == "text"


def _fits(name: str, said: str, look: Look) -> bool:
    """Tell whether a bare "From" or "To" is a batch or a vessel: batches are numbers, vessels have letters."""
    if said not in _FROM_AND_TO or not name.endswith(("_batch", "_vessel")):
        return True
    return name.endswith("_batch") == (look == "number")


def _settle_narrow(kind: str, meanings: Meanings) -> None:
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
        names_itself = "batch" in kept and packed is not None and (not packed.is_weak or bool(kept & set(_PACK_ONLY)))
        return [("run", "run" in kept or names_itself), ("batch", "batch" in kept), ("packed_at", is_log)]
    if kind == "readings":
        return [("batch, run or vessel", bool(kept & {"batch", "run", "vessel"})),
                ("quantity", "quantity" in kept or measures), ("value", "value" in kept or measures)]  # fmt: skip
    if kind == "tastings":
        return [("run", "run" in kept), ("panellist", "panellist" in kept),
                ("attribute", "attribute" in kept or attributes), ("score", "score" in kept or attributes)]  # fmt: skip
    limits = bool(kept & {"lower", "upper", "target", "margin"})
    return [("quantity", "quantity" in kept), ("lower, upper, target or margin", limits)]
