"""Why was a file not read, in words that say what to do?"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analysis.problems import Problem

__all__ = ["NotReadError", "refusal"]

_SAVE_AGAIN = "Open it in a spreadsheet program, save it as .xlsx or .csv, and take that in."

# code: (what is wrong, what to do); {detail} is what was found
_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "file-empty": ("The file is empty.", "Check that it was saved and copied whole, and take it in again."),
        "file-locked": (
            "The workbook is locked with a password.",
            "Save a copy without a password and take that in.",
        ),
        "file-not-a-table": ("The file is {detail}, not a workbook or a text table.", _SAVE_AGAIN),
        "file-swells": (
            "The workbook swells to more than is allowed when it is unpacked ({detail}).",
            "Delete pictures and unused sheets, or save the sheets with records as .csv files.",
        ),
        "file-too-large": (
            "The file is larger than is allowed ({detail}).",
            "Split it, for instance by year, and take the parts in one after another.",
        ),
        "file-too-slow": (
            "Reading the workbook took longer than is allowed ({detail}).",
            "Split it, or save the sheets with records as .csv files.",
        ),
        "file-unreadable": ("The file is broken, or is not what its name says ({detail}).", _SAVE_AGAIN),
        "sheet-too-large": (
            "The sheet reaches over more cells than can be read ({detail}).",
            "Look for a stray cell far below or right of the table, delete the rows and columns up to it and save.",
        ),
        "text-unreadable": (
            "The file is neither a workbook nor a text table ({detail}).",
            _SAVE_AGAIN,
        ),
    }
)


class NotReadError(Exception):
    """A file that was not read: the kept code, what was found, and the sheet at which it ended."""

    def __init__(self, code: str, detail: str = "", sheet: str | None = None) -> None:
        if code not in _WORDS:
            raise ValueError(f"NotReadError: code must be one of {', '.join(_WORDS)}, got {code!r}")
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.sheet = sheet


def refusal(file: str, why: NotReadError) -> Problem:
    """Return the problem that tells a person why a file was not read."""
    message, remedy = _WORDS[why.code]
    message = message.format(detail=why.detail) if why.detail else message.replace(" ({detail})", "")
    return Problem(why.code, message.replace("{detail}", "something else"), remedy, file=file, sheet=why.sheet)
