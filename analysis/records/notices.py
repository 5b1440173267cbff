"""What should a person know of how a sheet was read, though it costs no row?"""

from __future__ import annotations

from analysis.records.cells import RawColumn
from analysis.records.context import Context
from analysis.records.meaning import WIDE_KINDS, column_choices
from analysis.records.parsed import State
from analysis.records.parsing import parse_numbers
from analysis.records.words import plain_words

__all__ = ["note_hidden", "note_measures_left", "note_packing_dates", "note_unknown_answers"]

_WORDS_OF_MEASURES = frozenset(
    ("tpo", "tipo", "tio", "do", "dissolved", "oxygen", "o2", "hso", "hso2", "haze", "turbidity", "ntu", "ebc", "fnu",
     "ftu", "co2", "carbonation")
)  # fmt: skip


def note_unknown_answers(context: Context) -> None:
    """Say which answers name no column of the kind, and so were not used."""
    for header, name in context.recognised.unknown_answers:
        context.faults.note(
            "answer-unknown",
            f"“{header}” was said to be “{name}”, which is no column of {context.kind.replace('_', ' ')}.",
            f"Say one of {', '.join(column_choices(context.kind))}.",
            header,
        )


def note_hidden(context: Context, is_hidden: bool) -> None:
    """Say that a sheet is hidden in its workbook: a person may have forgotten that it is there."""
    if is_hidden:
        context.faults.note(
            "sheet-hidden",
            "The sheet is hidden in its workbook, and was read like any other.",
            "Nothing to do if its rows are wanted; else take the sheet out of the workbook.",
        )


def note_measures_left(context: Context) -> None:
    """Say which further columns of numbers have a measure's word over them, and were taken for none."""
    if context.kind not in WIDE_KINDS:
        return
    for meaning in context.recognised.having("extra"):
        if _WORDS_OF_MEASURES.isdisjoint(plain_words(meaning.header).split()):
            continue
        cells = context.cells(meaning)
        if context.answers.column(meaning.header) == "extra" or not _are_numbers(context, cells):
            continue
        context.faults.note(
            "measure-maybe",
            f"“{meaning.header}” names a measure, and which one is not known: it was kept as a further column.",
            "If it is a reading, say of which measure beside the sheet's columns or in --columns; else say “extra”.",
            meaning.header,
        )


def _are_numbers(context: Context, cells: RawColumn) -> bool:
    """Tell whether most cells that are filled are numbers."""
    read = parse_numbers(cells, context.decimal).state[context.active]
    filled = int((read != State.EMPTY).sum())
    return filled > 0 and int((read == State.READ).sum()) * 2 > filled


def note_packing_dates(context: Context) -> None:
    """Say that the only date of a sheet of pack readings was taken for the day of packing as well."""
    meaning = context.recognised.kept("measured_at")
    context.faults.note(
        "date-taken-twice",
        "No sheet says when these runs were packed; the date beside their readings was taken for the packing date too.",
        "If the packs were read later, take in the packaging runs with their dates in the same go, or name the column.",
        None if meaning is None else meaning.header,
    )
