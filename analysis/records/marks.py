"""By which words do we know again what we wrote ourselves: a blank workbook, a sheet of rejected rows?"""

from __future__ import annotations

__all__ = [
    "EXAMPLE",
    "EXAMPLE_HEADER",
    "GUIDE",
    "OURS",
    "REASON",
    "REASON_AND_RUNS",
    "SAMPLE",
    "SAMPLES",
    "SAMPLE_AND_PACKS",
]

EXAMPLE = "example, not taken in"
"""A row with this text in any cell is an example: it is ignored."""

EXAMPLE_HEADER = "Example?"
"""Over the column of a blank workbook that marks the example row; it is not read."""

GUIDE = "How to fill in this workbook"
"""The first cell of a blank workbook's guide, which is no record and is ignored without a word."""

REASON = "Why it was not taken in"
"""Over the last column of a sheet of rejected rows; it is not read."""

SAMPLE = "Sample, as numbered"
"""Over the column of a sheet of rejected rows that keeps the numbers which samples without one were given."""

REASON_AND_RUNS = f"{REASON} (its runs are on another sheet)"
"""The same over rows whose date is that of a reading, because another sheet says when the runs were packed."""

SAMPLE_AND_PACKS = f"{SAMPLE} (numbered columns are packs)"
"""The same over rows of which the columns "TPO 1", "TPO 2" were taken for packs, one a column."""

SAMPLES = (SAMPLE, SAMPLE_AND_PACKS)

OURS = (REASON, REASON_AND_RUNS, *SAMPLES, EXAMPLE_HEADER)
"""Every header that is no part of the layout that a sheet came in."""
