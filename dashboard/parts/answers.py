"""What has a person said about the waiting sheets so far?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["SLOTS", "AnswersDocument", "answered", "control_id", "merge", "overlay", "sheet_key"]

# As the answers' own JSON has them: sheet → slot → header → word; some slots are of the sheet and have no header.
AnswersDocument = dict[str, dict[str, Any]]

SLOTS = ("kind", "header_row", "decimal", "columns", "units", "dates", "angles", "numbers")
_OF_THE_SHEET = ("kind", "header_row", "decimal")
_LONGEST = 200
_LAST_ROW = 1_048_576


def sheet_key(file: str, sheet: str) -> str:
    """Return the name by which answers know a sheet."""
    return f"{file}/{sheet}"


def control_id(key: str, slot: str, header: str = "") -> dict[str, str]:
    """Return the id of the control that takes one answer."""
    return {"type": "answer", "sheet": key, "slot": slot, "header": header}


def merge(said: object, controls: Sequence[Mapping[str, Any]], shown: AnswersDocument) -> AnswersDocument:
    """Return what was said before, changed by the controls that no longer stand as they were shown.

    ``controls`` are Dash's: each an ``id`` as made by ``control_id`` and, where something was chosen, a ``value``.
    A control that still stands as it was shown says nothing; one that was emptied takes an earlier answer back.
    Whatever is not of that form is left out: it does not come from our page.
    """
    merged = answered(said)
    for control in controls:
        place, value = control.get("id"), control.get("value")
        if not isinstance(place, Mapping) or place.get("slot") not in SLOTS:
            continue
        key, slot, header = str(place.get("sheet", "")), str(place["slot"]), str(place.get("header", ""))
        if (value or None) == _get(shown, key, slot, header):
            continue
        _take(merged, key, slot, header)
        _put(merged, key, slot, header, value)
    return {key: slots for key, slots in merged.items() if slots}


def overlay(base: AnswersDocument, said: object) -> AnswersDocument:
    """Return ``base`` with what was said laid over it."""
    laid = {key: {slot: _copy(value) for slot, value in slots.items()} for key, slots in base.items()}
    for key, slots in answered(said).items():
        sheet = laid.setdefault(key, {})
        for slot, value in slots.items():
            sheet[slot] = value if slot in _OF_THE_SHEET else {**sheet.get(slot, {}), **value}
    return laid


def answered(said: object) -> AnswersDocument:
    """Return a kept answers document with whatever does not belong in one left out."""
    clean: AnswersDocument = {}
    if not isinstance(said, Mapping):
        return clean
    for key, slots in said.items():
        if not isinstance(slots, Mapping):
            continue
        for slot in SLOTS:
            value = slots.get(slot)
            pairs = {"": value} if slot in _OF_THE_SHEET else value if isinstance(value, Mapping) else {}
            for header, word in pairs.items():
                _put(clean, str(key), slot, str(header), word)
    return {key: slots for key, slots in clean.items() if slots}


def _copy(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value


def _get(document: AnswersDocument, key: str, slot: str, header: str) -> object:
    value = document.get(key, {}).get(slot)
    return value if slot in _OF_THE_SHEET or value is None else value.get(header)


def _take(document: AnswersDocument, key: str, slot: str, header: str) -> None:
    sheet = document.get(key, {})
    if slot in _OF_THE_SHEET:
        sheet.pop(slot, None)
    else:
        sheet.get(slot, {}).pop(header, None)


def _put(document: AnswersDocument, key: str, slot: str, header: str, value: object) -> None:
    sheet = document.setdefault(key[: 2 * _LONGEST], {})
    if slot == "header_row":
        if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= _LAST_ROW:
            sheet[slot] = value
        return
    if not isinstance(value, str) or not value.strip():
        return
    word = value.strip()[:_LONGEST]
    if slot in _OF_THE_SHEET:
        sheet[slot] = word
    else:
        sheet.setdefault(slot, {})[header[:_LONGEST]] = word
