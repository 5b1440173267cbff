"""Is this file a later version of one that is on record?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePath

__all__ = ["FileFamily", "family_of_file", "family_of_sheet"]

# What people and browsers add to the name of a copy; it may be added more than once.
_COPY_MARK = re.compile(
    r"""(?:
    \s*\(\d{1,2}\)                                                 # "log (1)", but not "log (2025)"
    | [\s.-]*\(?\bv(?:er(?:sion)?)?[\s.]?\d+(?:\.\d+)*\)?         # "log_v2", "log version 2"
    | [\s.-]*\(?\b(?:copy|corrected|correction|final|fixed|updated|revised|rev[\s.]?\d*)\)?
    )$""",
    re.VERBOSE,
)
_PART_MARK = re.compile(r"[\s.-]*\(?\b(?:rejects|rejected|mended)\)?$")
_COPY_OF = re.compile(r"^copy (?:\(\d+\) )?of ")


@dataclass(frozen=True)
class FileFamily:
    """The name that a file shares with its corrected versions; ``partial`` where it holds only the mended rows."""

    name: str
    partial: bool


def family_of_file(file: str) -> FileFamily:
    """Return the name of a file without its folder, its ending and the marks of a copy.

    >>> family_of_file("DO log 2025_v2 (1).xlsx")
    FileFamily(name='do log 2025', partial=False)
    >>> family_of_file("DO log 2025 rejects.xlsx")
    FileFamily(name='do log 2025', partial=True)
    """
    name = _COPY_OF.sub("", _stem(file))
    partial = False
    while True:
        bare, was_partial = _without_last_mark(name)
        if bare == name or not bare:
            return FileFamily(name, partial)
        name, partial = bare, partial or was_partial


def family_of_sheet(file: str, sheet: str) -> str:
    """Return the name that a sheet shares with the same sheet of the file's corrected versions.

    A text file has one sheet, which a reader may name after the file: it goes by the file alone.

    >>> family_of_sheet("DO log (1).csv", "DO log (1)") == family_of_sheet("DO log.csv", "DO log")
    True
    """
    family = family_of_file(file).name
    name = sheet.strip().casefold()
    return f"{family}/" if name in ("", _stem(file), PurePath(file).name.casefold()) else f"{family}/{name}"


def _stem(file: str) -> str:
    return PurePath(file.replace("\\", "/")).stem.strip().casefold()


def _without_last_mark(name: str) -> tuple[str, bool]:
    """Return the name without the mark that it ends with, and whether that mark says it holds only some rows."""
    spaced = name.replace("_", " ")  # to a regular expression an underscore is part of a word
    for pattern, partial in ((_PART_MARK, True), (_COPY_MARK, False)):
        if found := pattern.search(spaced):
            return name[: found.start()].rstrip(" _-."), partial
    return name, False
