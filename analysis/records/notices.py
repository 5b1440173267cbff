"""What should a person know of how a sheet was read, though it costs no row?"""

from __future__ import annotations

from analysis.records.context import Context
from analysis.records.meaning import column_choices

__all__ = ["note_packing_dates", "note_unknown_answers"]


def note_unknown_answers(context: Context) -> None:
    """Say which answers name no column of the kind, and so were not used."""
    for header, name in context.recognised.unknown_answers:
        context.faults.note(
            "answer-unknown",
            f"“{header}” was said to be “{name}”, which is no column of {context.kind.replace('_', ' ')}.",
            f"Say one of {', '.join(column_choices(context.kind))}.",
            header,
        )


def note_packing_dates(context: Context) -> None:
    """Say that the only date of a sheet of pack readings was taken for the day of packing as well."""
    meaning = context.recognised.kept("measured_at")
    context.faults.note(
        "date-taken-twice",
        "No sheet says when these runs were packed; the date beside their readings was taken for the packing date too.",
        "If the packs were read later, take in the packaging runs with their dates in the same go, or name the column.",
        None if meaning is None else meaning.header,
    )
