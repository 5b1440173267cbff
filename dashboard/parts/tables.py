"""How does a table stand on a page, so that eye, keyboard and screen reader all get through it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import pandas as pd
from dash import html
from dash.development.base_component import Component

__all__ = ["Cell", "Column", "data_table", "empty", "short_day"]

Cell = str | int | float | Component | Sequence[Component | str]


@dataclass(frozen=True)
class Column:
    """A column: its heading, its unit, and whether it holds words, figures (to the right) or prose (kept wide)."""

    label: str
    unit: str = ""
    kind: Literal["words", "figures", "prose"] = "words"


def data_table(
    caption: str,
    columns: Sequence[Column],
    rows: Sequence[Sequence[Cell]],
    *,
    class_name: str = "",
    hide_caption: bool = True,
) -> Component:
    """Return a table in a region that scrolls by itself; its first column names the row and stays in sight."""
    return html.Div(
        html.Table(
            [
                html.Caption(caption, className="sr-only" if hide_caption else None),
                html.Thead(html.Tr([_heading(column) for column in columns])),
                html.Tbody([_row(columns, row) for row in rows]),
            ],
            className=f"table {class_name}".strip(),
        ),
        className="table-region",
        tabIndex=0,
        role="region",
        **{"aria-label": caption},
    )


def _heading(column: Column) -> Component:
    unit = [html.Span(f" {column.unit}", className="unit")] if column.unit else []
    return html.Th([column.label, *unit], scope="col", className=column.kind)


def _row(columns: Sequence[Column], row: Sequence[Cell]) -> Component:
    first, *others = row
    cells = [html.Th(first, scope="row", className=columns[0].kind)]
    return html.Tr(
        cells + [html.Td(cell, className=column.kind) for column, cell in zip(columns[1:], others, strict=True)]
    )


def short_day(moment: datetime | None) -> str:
    """Return a date as a narrow column holds it: ``8 Oct 2026``; nothing where there is none."""
    return "" if moment is None or pd.isna(moment) else f"{moment.day} {moment:%b %Y}"


def empty(title: str, what_to_do: Sequence[Component | str]) -> Component:
    """Return what stands where there is nothing to show yet: what is missing, and what to do next."""
    return html.Div([html.H2(title), html.P(what_to_do)], className="empty")
