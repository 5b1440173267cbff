"""What was each header of a sheet taken for, and how is that corrected?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.records import SheetIntake, column_choices
from analysis.records.kinds import KINDS
from analysis.records.parsed import DATE_ORDERS
from analysis.vocabulary import MEASURES, measure
from dashboard.parts.answers import AnswersDocument, control_id, sheet_key
from dashboard.parts.review import kind_options
from dashboard.parts.tables import Column, data_table

__all__ = ["closer", "shown_document"]

EXTRA = "extra"
IGNORE = "ignore"
ASKED = "asked above"
_COUNTS: Mapping[str, str] = {"sample": "a pack in each column", "replicate": "one pack, read again"}
_COUNTED: Mapping[str, str] = {"sample": "pack", "replicate": "reading"}


def shown_document(sheets: tuple[SheetIntake, ...]) -> AnswersDocument:
    """Return what the controls show before anybody touches them: what each sheet was taken for."""
    return {sheet_key(sheet.file, sheet.sheet): _shown(sheet) for sheet in sheets}


def _shown(sheet: SheetIntake) -> dict[str, Any]:
    said = sheet.answers.as_document()
    shown: dict[str, Any] = {slot: dict(said.get(slot, {})) for slot in ("units", "dates", "angles")}
    shown["numbers"] = {header: each.counts for header, each in sheet.numbered.items() if each.leader == header}
    shown["columns"] = {header: _taken_for(sheet, header) for header in sheet.headers}
    if sheet.kind is not None:
        shown["kind"] = sheet.kind
    if sheet.header_row is not None:
        shown["header_row"] = sheet.header_row
    return shown


def _taken_for(sheet: SheetIntake, header: str) -> str:
    return sheet.columns.get(header, EXTRA if header in sheet.kept_as_extra else IGNORE)


def closer(sheet: SheetIntake, shown: dict[str, Any], asked: frozenset[tuple[str, str]]) -> Component:
    """Return the controls that correct what a sheet was taken for.

    ``shown`` is what they stand at: what the sheet was taken for, and what was said since. ``asked`` are the slots and
    headers that a question above already has a control for.
    """
    key = sheet_key(sheet.file, sheet.sheet)
    headers = sheet.headers
    return html.Div(
        className="closer",
        children=[
            html.H3(f"{sheet.sheet} of {sheet.file}", tabIndex=-1),
            html.Div(_of_the_sheet(shown, key, asked), className="closer-head"),
            data_table(
                f"Headers of {sheet.sheet} and what they were taken for",
                (
                    Column("Header on the sheet"),
                    Column("First value"),
                    Column("Taken for"),
                    Column("Unit"),
                    Column("Order of dates"),
                ),
                [_header_row(sheet, header, shown, asked) for header in headers],
                class_name="headers",
            )
            if headers
            else html.P("No header was recognised. Say what the sheet holds and in which row its headers stand."),
        ],
    )


def _of_the_sheet(shown: dict[str, Any], key: str, asked: frozenset[tuple[str, str]]) -> list[Component]:
    parts: list[Component] = []
    if ("kind", "") not in asked:
        holds = {"label": "This sheet holds", "data": kind_options(), "value": shown.get("kind")}
        parts.append(dmc.Select(id=control_id(key, "kind"), **holds))
    parts.append(
        dmc.NumberInput(
            id=control_id(key, "header_row"),
            label="Its headers stand in row",
            value=shown.get("header_row", ""),
            min=1,
            allowDecimal=False,
            allowNegative=False,
            debounce=400,
        )
    )
    return parts


def _header_row(
    sheet: SheetIntake, header: str, shown: dict[str, Any], asked: frozenset[tuple[str, str]]
) -> tuple[Component | str, ...]:
    taken = str(_of(shown, "columns", header) or IGNORE)
    kind = shown.get("kind")
    return (
        header,
        sheet.examples.get(header, ""),
        html.Div([_meaning(sheet, header, kind, taken, asked), _counts(sheet, header, taken, shown)]),
        _unit(sheet, header, taken, shown, asked),
        _order(sheet, header, kind, taken, shown, asked),
    )


def _id(sheet: SheetIntake, slot: str, header: str) -> dict[str, str]:
    return control_id(sheet_key(sheet.file, sheet.sheet), slot, header)


def _meaning(
    sheet: SheetIntake, header: str, kind: str | None, taken: str, asked: frozenset[tuple[str, str]]
) -> Component | str:
    if ("columns", header) in asked:
        return ASKED
    return dmc.Select(
        id=_id(sheet, "columns", header),
        data=column_options(kind, taken),
        value=taken,
        allowDeselect=False,
        searchable=True,
        **{"aria-label": f"What {header} means"},
    )


def _counts(sheet: SheetIntake, header: str, taken: str, shown: dict[str, Any]) -> Component | None:
    """Return what the number in a header counts, with the control that says otherwise at the first of its columns."""
    numbered = sheet.numbered.get(header)
    if numbered is None or taken not in MEASURES:
        return None
    if numbered.leader != header:
        as_leader = f", as {numbered.leader}" if numbered.leader else ""
        return html.Div(f"{_COUNTED[numbered.counts]} {numbered.number}{as_leader}", className="soft")
    return dmc.Select(
        id=_id(sheet, "numbers", header),
        data=[{"value": value, "label": label} for value, label in _COUNTS.items()],
        value=str(_of(shown, "numbers", header) or numbered.counts),
        allowDeselect=False,
        mt=6,
        **{"aria-label": f"What the number in {header} counts"},
    )


def _unit(
    sheet: SheetIntake, header: str, taken: str, shown: dict[str, Any], asked: frozenset[tuple[str, str]]
) -> Component | str:
    if ("units", header) in asked:
        return ASKED
    said, read_in = _of(shown, "units", header), sheet.units.get(header, "")
    if taken in (EXTRA, IGNORE) or not (said or read_in):
        return ""
    return dmc.TextInput(
        id=_id(sheet, "units", header),
        value=str(said or ""),
        placeholder=f"read as {read_in}",
        debounce=400,
        **{"aria-label": f"Unit of {header}, if it is not {read_in}"},
    )


def _order(
    sheet: SheetIntake,
    header: str,
    kind: str | None,
    taken: str,
    shown: dict[str, Any],
    asked: frozenset[tuple[str, str]],
) -> Component | str:
    if ("dates", header) in asked:
        return ASKED
    said = _of(shown, "dates", header)
    if not _is_date(kind, taken):
        return ""
    return dmc.Select(
        id=_id(sheet, "dates", header),
        data=[{"value": order, "label": f"{order.partition('-')[0]} first"} for order in DATE_ORDERS],
        value=said,
        placeholder=f"read as {sheet.dates[header]}" if header in sheet.dates else "found from the cells",
        clearable=True,
        clearButtonProps={"aria-label": f"Find the order of {header} from the cells"},
        **{"aria-label": f"Order of dates in {header}"},
    )


def _is_date(kind: str | None, taken: str) -> bool:
    if kind not in KINDS or taken not in KINDS[kind].names:
        return False
    return KINDS[kind].column(taken).type in ("date", "moment")


def _of(shown: dict[str, Any], slot: str, header: str) -> object:
    values = shown.get(slot)
    return values.get(header) if isinstance(values, dict) else None


def column_options(kind: str | None, taken: str) -> list[dict[str, Any]]:
    """Return what a header can be taken for: the kind's columns, a reading beside each row, an extra, or nothing."""
    choices = column_choices(kind) if kind in KINDS else (EXTRA, IGNORE)
    columns = [name for name in (*choices, taken) if name not in MEASURES and name not in (EXTRA, IGNORE)]
    measures = [name for name in choices if name in MEASURES]
    groups = [
        ("A column of the record", [(name, name.replace("_", " ")) for name in dict.fromkeys(columns)]),
        ("A reading in each row", [(name, measure(name).label) for name in measures]),
        ("Neither", [(EXTRA, "keep as a further column"), (IGNORE, "leave this column out")]),
    ]
    return [
        {"group": group, "items": [{"value": value, "label": label} for value, label in items]}
        for group, items in groups
        if items
    ]
