"""Which columns of a wide sheet are measures or attributes, and whose is each meter, unit and temperature?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from analysis.records.headers import Angle, Header
from analysis.records.meaning import Looks, Meaning, Meanings, has_kept
from analysis.records.measure_headers import measure_of, summary_of
from analysis.records.words import ATTRIBUTES, MEASURES, METERS, NOT_ATTRIBUTES
from analysis.vocabulary import slug

__all__ = ["owned", "take_attributes", "take_measures"]

_METER_HEADER = re.compile(r"(.+?)\s+(?:meter|instrument|probe|analyser|analyzer|device)(?:\s+used)?")
_METER_FAMILY = {
    **{word: family for word, name in MEASURES.items() for family, names in METERS.items() if name in names},
    "cell": "yeast",
}


def take_measures(free: Sequence[tuple[int, Header]], looks: Looks, meanings: Meanings) -> None:
    _release(("quantity", "value"), meanings)
    for j, header in free:
        read = measure_of(header) if j not in meanings else None
        if read is not None and looks(j) in ("number", "empty", "text"):
            name = read.measure
            angle = "forward" if name == "haze_forward" else header.angle or _angle_in_words(header.words)
            is_forward = name == "haze" and angle == "forward"
            meanings[j] = Meaning(
                j, header.text, "measure", "haze_forward" if is_forward else name, read.unit, angle, None, read.stage,
                read.replicate, read.sample, read.number, is_beer_or_gas=read.is_beer_or_gas,
            )  # fmt: skip
    _take_summaries(free, looks, meanings)
    measures = [m for m in meanings.values() if m.role == "measure"]
    for m in [
        m for m in meanings.values() if m.role == "kept" and m.name == "temperature" and m.is_weak and not measures
    ]:
        meanings[m.column] = replace(m, role="measure", is_weak=False)
    others = [m for m in measures if m.name != "temperature"]
    if others and has_kept(meanings, "run") and not has_kept(meanings, "temperature"):
        for m in [m for m in measures if m.name == "temperature" and m.stage is None][:1]:
            meanings[m.column] = replace(m, role="kept")
    _take_meters_and_units(free, meanings)


def _take_summaries(free: Sequence[tuple[int, Header]], looks: Looks, meanings: Meanings) -> None:
    """Leave out what sums up columns that stand beside it; a mean that stands alone is the reading."""
    read = {m.name for m in meanings.values() if m.role == "measure"}
    open_columns = [(j, header) for j, header in free if j not in meanings and looks(j) in ("number", "empty")]
    found = [(j, header, summary) for j, header in open_columns if (summary := summary_of(header)) is not None]
    for j, header, (name, is_mean) in sorted(found, key=lambda each: not each[2][1]):
        if name in read:
            meanings[j] = Meaning(j, header.text, "ignore")
        elif is_mean:
            unit = header.unit or next((unit for _, unit in header.names if unit), None)
            meanings[j] = Meaning(j, header.text, "measure", name, unit, header.angle)
            read.add(name)


def _angle_in_words(words: str) -> Angle | None:
    return "90" if re.search(r"(?:^|[\shs])90\b", words) else None


def _release(names: Sequence[str], meanings: Meanings) -> None:
    """Give back columns that make no sense alone: a "quantity" without a "value"."""
    for j in [j for j, m in meanings.items() if m.role == "kept" and m.name in names and m.is_weak]:
        del meanings[j]


def _take_meters_and_units(free: Sequence[tuple[int, Header]], meanings: Meanings) -> None:
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
            elif re.fullmatch(r"(?:meter|instrument|probe|unit|units)(?: no| id| used)?", header.words):
                meanings[j] = Meaning(j, header.text, "unit" if header.words.startswith("unit") else "meter")


def owned(meanings: tuple[Meaning, ...]) -> tuple[Meaning, ...]:
    """Say whose each meter and unit is: the measures of its name, or those that it stands beside."""
    measures = [m for m in meanings if m.role == "measure"]
    return tuple(
        replace(m, measures=_beside(m, meanings, measures)) if m.role in ("meter", "unit") else m for m in meanings
    )


def _beside(own: Meaning, meanings: Sequence[Meaning], measures: Sequence[Meaning]) -> tuple[int, ...]:
    """Return the measures that a meter or a unit column belongs to.

    One that is named for a column, or for what it reads, has those; the only one of its sort has all; of several, each
    has the measure that it stands beside, and any other measure of that family which none stands beside.
    """
    if own.measures:
        return own.measures
    if own.name:
        return tuple(m.column for m in measures if m.name in METERS[own.name])
    alike = [m.column for m in meanings if m.role == own.role and not m.name and not m.measures]
    named = {m.name for m in meanings if m.role == own.role and m.name}
    having = {column for m in meanings if m.role == own.role for column in m.measures}
    free = [m for m in measures if m.column not in having and not any(m.name in METERS[family] for family in named)]
    if len(alike) == 1:
        return tuple(m.column for m in free)
    leads = not any(m.column < alike[0] for m in free)
    owners = {m.column: _nearest(m.column, alike, leads) for m in free}
    direct = {
        owner: _family(m.name) for m in free if (owner := owners[m.column]) is not None and _touches(m, owner, free)
    }
    for m in free:
        owner = owners[m.column]
        if owner is None or (own.role == "meter" and direct.get(owner) not in (None, _family(m.name))):
            owners[m.column] = next((c for c, family in direct.items() if family == _family(m.name)), owner)
    return tuple(m.column for m in free if owners[m.column] == own.column)


def _nearest(column: int, alike: Sequence[int], leads: bool) -> int | None:
    """Return the column of a sort that follows a measure, or leads it where the sort stands in front."""
    beside = [c for c in alike if c < column] if leads else [c for c in alike if c > column]
    return None if not beside else max(beside) if leads else min(beside)


def _touches(measure: Meaning, owner: int, measures: Sequence[Meaning]) -> bool:
    """Tell whether no other measure stands between a measure and the column that belongs to it."""
    low, high = sorted((measure.column, owner))
    return not any(low < m.column < high for m in measures)


def _family(measure: str) -> str:
    return next((family for family, names in METERS.items() if measure in names), measure)


def take_attributes(free: Sequence[tuple[int, Header]], looks: Looks, meanings: Meanings) -> None:
    _release(("attribute", "score"), meanings)
    for j, header in free:
        words = header.words
        known = words in ATTRIBUTES
        is_other = not known and not NOT_ATTRIBUTES.isdisjoint((words, *words.split()))
        if j not in meanings and not is_other and (known or looks(j) == "number"):
            meanings[j] = Meaning(j, header.text, "attribute", slug(words), is_weak=not known)
