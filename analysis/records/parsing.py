"""What value does each raw cell stand for? The one face of the modules that read cells.

Each function reads a whole column and says for each cell what came of it (``State``). Nothing is dropped: a cell that
is not read keeps its text in the column, for the problem that tells of it.
"""

from __future__ import annotations

from analysis.records.clocks import across_midnight, combine_clock, parse_clocks, parse_minutes
from analysis.records.dates import parse_dates, parse_moments
from analysis.records.names import (
    batch_number,
    name_of,
    parse_batches,
    parse_choice,
    parse_ids,
    parse_recipes,
    parse_texts,
    parse_vessels,
    parse_yes_no,
    recipe_name,
    vessel_letters,
    vessel_name,
)
from analysis.records.numbers import number_of, parse_counts, parse_numbers
from analysis.records.parsed import (
    DateOrder,
    DateQuestion,
    ParsedClocks,
    ParsedFlags,
    ParsedMoments,
    ParsedNumbers,
    ParsedTexts,
    State,
)

__all__ = [
    "DateOrder",
    "DateQuestion",
    "ParsedClocks",
    "ParsedFlags",
    "ParsedMoments",
    "ParsedNumbers",
    "ParsedTexts",
    "State",
    "across_midnight",
    "batch_number",
    "combine_clock",
    "name_of",
    "number_of",
    "parse_batches",
    "parse_choice",
    "parse_clocks",
    "parse_counts",
    "parse_dates",
    "parse_ids",
    "parse_minutes",
    "parse_moments",
    "parse_numbers",
    "parse_recipes",
    "parse_texts",
    "parse_vessels",
    "parse_yes_no",
    "recipe_name",
    "vessel_letters",
    "vessel_name",
]
