"""What was each header of a sheet taken for, and how is that corrected?"""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.records import SheetIntake
from analysis.records.kinds import KINDS
from analysis.vocabulary import MEASURES, measure
from dashboard.parts.answers import AnswersDocument, control_id, sheet_key
from dashboard.parts.review import kind_options
from dashboard.parts.tables import Column, data_table

__all__ = ["closer", "shown_document"]

EXTRA = "extra"
IGNORE = "ignore"


def shown_document(sheets: tuple[SheetIntake, ...]) -> AnswersDocument:
    """Return what the controls show before anybody touches them: what each sheet was taken for."""
    return {sheet_key(sheet.file, sheet.sheet): _shown(sheet) for sheet in sheets}


def _shown(sheet: SheetIntake) -> dict[str, Any]:
    extras = dict.fromkeys(sheet.kept_as_extra, EXTRA)
    shown: dict[str, Any] = {"columns": {**dict(sheet.columns), **extras}}
    said = sheet.answers
    if said is not None:
        shown |= {"units": dict(said.units), "dates": dict(said.dates), "angles": dict(said.angles)}
    if sheet.kind is not None:
        shown["kind"] = sheet.kind
    if sheet.header_row is not None:
        shown["header_row"] = sheet.header_row
    return shown


def closer(sheet: SheetIntake, shown: dict[str, Any], asked: frozenset[tuple[str, str]]) -> Component:
    """Return the controls that correct what a sheet was taken for.

    ``shown`` is what they stand at: what the sheet was taken for, and what was said since. ``asked`` are the slots and
    headers that a question above already has a control for.
    """
    key = sheet_key(sheet.file, sheet.sheet)
    headers = list(shown.get("columns", {}))
    return html.Div(
        className="closer",
        children=[
            html.H3(f"{sheet.sheet} of {sheet.file}", tabIndex=-1),
            html.Div(_of_the_sheet(shown, key, asked), className="closer-head"),
            data_table(
                f"Headers of {sheet.sheet} and what they were taken for",
                (Column("Header on the sheet"), Column("Taken for"), Column("Unit"), Column("Order of dates")),
                [_header_row(key, header, shown, asked) for header in headers],
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
    key: str, header: str, shown: dict[str, Any], asked: frozenset[tuple[str, str]]
) -> tuple[Component | str, ...]:
    taken = str(_of(shown, "columns", header) or IGNORE)
    return (
        header,
        dmc.Select(
            id=control_id(key, "columns", header),
            data=column_options(shown.get("kind"), taken),
            value=taken,
            allowDeselect=False,
            searchable=True,
            **{"aria-label": f"What {header} means"},
        ),
        _unit(key, header, taken, shown, asked),
        _order(shown.get("kind"), key, header, taken, shown, asked),
    )


def _unit(
    key: str, header: str, taken: str, shown: dict[str, Any], asked: frozenset[tuple[str, str]]
) -> Component | str:
    if ("units", header) in asked:
        return "asked above"
    if taken in (EXTRA, IGNORE):
        return ""
    return dmc.TextInput(
        id=control_id(key, "units", header),
        value=str(_of(shown, "units", header) or ""),
        placeholder="as written",
        debounce=400,
        **{"aria-label": f"Unit of {header}"},
    )


def _order(
    kind: str | None, key: str, header: str, taken: str, shown: dict[str, Any], asked: frozenset[tuple[str, str]]
) -> Component | str:
    if ("dates", header) in asked:
        return "asked above"
    if not _is_date(kind, taken):
        return ""
    return dmc.Select(
        id=control_id(key, "dates", header),
        data=[{"value": "day-month", "label": "day first"}, {"value": "month-day", "label": "month first"}],
        value=_of(shown, "dates", header),
        placeholder="found from the cells",
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
    columns = KINDS[kind].names if kind in KINDS else ()
    measures = tuple(name for name in MEASURES if name not in columns)
    listed = {*columns, *measures, EXTRA, IGNORE}
    readings = [{"value": name, "label": measure(name).label} for name in measures]
    further = [] if taken in listed else [{"value": taken, "label": taken.replace("_", " ")}]
    return [
        {"group": "A column of the record", "items": [*_options(columns), *further]},
        {"group": "A reading in each row", "items": readings},
        {
            "group": "Neither",
            "items": [
                {"value": EXTRA, "label": "keep as a further column"},
                {"value": IGNORE, "label": "leave this column out"},
            ],
        },
    ]


def _options(names: tuple[str, ...]) -> list[dict[str, str]]:
    return [{"value": name, "label": name.replace("_", " ")} for name in names]
