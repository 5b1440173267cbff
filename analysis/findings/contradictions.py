"""What do records that contradict each other say, and which of them was kept?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime

from analysis.findings.wording import day
from analysis.ledger import Claim, Conflict, Resolution
from analysis.records.kinds import KINDS
from analysis.vocabulary import measure

__all__ = [
    "conflict_document",
    "conflict_title",
    "kept_in_words",
    "said_by",
    "settled_document",
    "where_said",
]

Cell = str | float | date | datetime | None

_IN_UNIT_OF_QUANTITY = ("value", "reference", "observed", "lower", "upper", "target", "margin")


def conflict_title(conflict: Conflict) -> str:
    """Return what a conflict is about: ``Readings: total package oxygen, run R1``."""
    label = KINDS[conflict.kind].label if conflict.kind in KINDS else conflict.kind
    return f"{label}: {_about(conflict.kind, conflict.about)}"


def said_by(conflict: Conflict, claim: Claim) -> str:
    """Return what one row says in the columns in which they differ: ``value 62 µg/L``."""
    columns = [name for name in conflict.columns if name != "extra"]
    told = [_columns(conflict.kind, columns, conflict.about, claim)] if columns else []
    if "extra" in conflict.columns:
        told.append(_further(conflict, claim))
    return ", ".join(told)


def where_said(claim: Claim) -> str:
    """Return where a row stands and who took it in."""
    return f"{claim.file} › {claim.sheet}, row {claim.source_row}, taken in by {claim.by} on {day(claim.at)}"


def kept_in_words(settled: Resolution) -> str:
    """Return what a settled conflict was about, and the row that was kept."""
    kept = settled.kept
    about = {name: kept.values[name] for name in KINDS[settled.kind].identity if kept.values.get(name) is not None}
    rest = [name for name in KINDS[settled.kind].names if name not in about and kept.values.get(name) is not None]
    said = _columns(settled.kind, ["value"] if "value" in rest else rest[:2], about, kept)
    label = KINDS[settled.kind].label
    return f"{label}: {_about(settled.kind, about)}: {said} ({kept.file}, {kept.sheet}, row {kept.source_row})"


def conflict_document(conflict: Conflict) -> dict[str, object]:
    """Return an open conflict as a JSON document."""
    return {
        "conflict": conflict.number,
        "kind": conflict.kind,
        "about": {name: _plain(value) for name, value in conflict.about.items()},
        "columns": list(conflict.columns),
        "rows": [
            {
                "record": claim.record,
                "says": {name: _plain(claim.values[name]) for name in conflict.columns},
                "file": claim.file,
                "sheet": claim.sheet,
                "row": claim.source_row,
                "intake": claim.intake,
                "by": claim.by,
                "at": claim.at.isoformat(),
            }
            for claim in conflict.claims
        ],
        "in_words": conflict_title(conflict),
    }


def settled_document(settled: Resolution) -> dict[str, object]:
    """Return a settled conflict as a JSON document."""
    return {
        "conflict": settled.conflict,
        "kind": settled.kind,
        "kept": settled.kept.record,
        "by": settled.by,
        "at": settled.at.isoformat(),
        "because": settled.because,
        "ledger_state": settled.state,
        "in_words": kept_in_words(settled),
    }


def _about(kind: str, about: Mapping[str, Cell]) -> str:
    """Return what rows are about, the measure first."""
    told = dict(about)
    quantity = told.pop("quantity", None)
    words = [] if quantity is None else [_label(str(quantity))]
    words += [f"{_name(name)} {_written(value, _unit(kind, quantity, name))}" for name, value in told.items()]
    return ", ".join(words)


def _columns(kind: str, columns: Sequence[str], about: Mapping[str, Cell], claim: Claim) -> str:
    quantity = about.get("quantity")
    told = []
    for name in dict.fromkeys("value" if name == "sign" else name for name in columns):
        sign = claim.values.get("sign") or "" if name == "value" else ""
        told.append(f"{_name(name)} {sign}{_written(claim.values[name], _unit(kind, quantity, name))}")
    return ", ".join(told)


def _further(conflict: Conflict, claim: Claim) -> str:
    """Return what a row says in the further columns in which the rows differ."""
    cells = [json.loads(str(each.values["extra"] or "{}")) for each in conflict.claims]
    own = cells[conflict.claims.index(claim)]
    differing = [name for name in dict.fromkeys(n for each in cells for n in each)
                 if len({str(each.get(name)) for each in cells}) > 1]  # fmt: skip
    return ", ".join(f"{name} {_written(own.get(name))}" for name in differing)


def _label(quantity: str) -> str:
    label = measure(quantity).label
    return label[0].lower() + label[1:]


def _name(column: str) -> str:
    return column.replace("_", " ")


def _unit(kind: str, quantity: object, name: str) -> str:
    """Return the kept unit of a column, "" where it has none: a reading's value is in that of its quantity."""
    if name in _IN_UNIT_OF_QUANTITY and quantity is not None:
        return measure(str(quantity)).unit
    known = KINDS.get(kind)
    return known.column(name).unit if known is not None and name in known.names else ""


def _written(value: object, unit: str = "") -> str:
    if value is None:
        return "blank"
    if isinstance(value, datetime):
        return f"{day(value)}, {value:%H:%M}"
    if isinstance(value, date):
        return day(value)
    return f"{value:g} {unit}".strip() if isinstance(value, float) else str(value)


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, date) else value
