"""Which characters do the bytes of a text file mean?"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from charset_normalizer import from_bytes

from analysis.records.refusals import NotReadError

__all__ = ["DecodedText", "decode"]

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SAMPLE = 65_536
# What a brewery's Windows program writes beyond ASCII: letters with accents, signs of units, typographic marks.
_USUAL_IN_CP1252 = re.compile(r"[\x00-\x7fÀ-ÖØ-öø-ÿŠšŽžŒœŸ°µ²³¹·±×÷½¼¾%‰€£§«»‹›‘’‚“”„–—…•ºª¿¡®©™´¨\xa0]*")
# What °C and µg become where a file of the old Macintosh or of DOS is taken for one of Windows.
_MISTAKEN = {"mac_roman": re.compile(r"¡[CFP]\b"), "cp850": re.compile(r"\bø[CFP]\b|(?<=[\s\d(\[])(?:ø[CFP]\b|æ[gl]/)")}
# What spreadsheet programs of other countries, of the old Macintosh and of DOS write.
_EIGHT_BIT = [
    "cp1250", "cp1251", "cp1252", "cp1253", "cp1254", "cp1257", "latin_1", "mac_roman", "cp437", "cp850",
    "shift_jis", "gb18030", "big5", "euc_kr",
]  # fmt: skip
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]")


@dataclass(frozen=True)
class DecodedText:
    """A text file's characters as UTF-8 bytes, and the encoding that it was read with.

    ``is_guess`` is true where the bytes fit more than one encoding and the likelier was taken.
    """

    utf8: bytes
    encoding: str
    is_guess: bool = False


def decode(data: bytes) -> DecodedText:
    """Return the characters of a text file.

    A byte-order mark decides; then UTF-8 if every byte fits it; then UTF-16 where every other byte is zero; then
    Windows' Western encoding if what it gives is what a brewery writes; then the likeliest by the letters' frequencies;
    Latin-1, which fits anything, comes last.

    Raises
    ------
    NotReadError
        If the bytes are no text at all.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _decoded(data, encoding)
    utf16 = _utf16_without_mark(data)
    if utf16:
        return _decoded(data, utf16)
    if _is_binary(data):
        raise NotReadError("text-unreadable", "it holds bytes that no text has")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return _eight_bit(data)
    return DecodedText(data, "utf-8")


def _is_binary(data: bytes) -> bool:
    return b"\x00" in data or _CONTROL.search(data, 0, _SAMPLE) is not None


def _decoded(data: bytes, encoding: str) -> DecodedText:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise NotReadError("text-unreadable", f"it begins as {encoding} and does not go on so") from error
    utf8 = text.removeprefix("\ufeff").encode("utf-8")
    if _is_binary(utf8):
        raise NotReadError("text-unreadable", "it holds bytes that no text has")
    return DecodedText(utf8, encoding)


def _utf16_without_mark(data: bytes) -> str | None:
    sample = data[: _SAMPLE // 2 * 2]
    if len(sample) < 4 or b"\x00" not in sample:
        return None
    half = len(sample) / 2
    if sample[1::2].count(0) > 0.7 * half and sample[::2].count(0) == 0:
        return "utf-16-le"
    if sample[::2].count(0) > 0.7 * half and sample[1::2].count(0) == 0:
        return "utf-16-be"
    return None


def _eight_bit(data: bytes) -> DecodedText:
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = None
    for encoding, mistaken in _MISTAKEN.items():
        if text is not None and mistaken.search(text):
            return DecodedText(data.decode(encoding).encode("utf-8"), encoding, is_guess=True)
    if text is not None and _USUAL_IN_CP1252.fullmatch(text):
        return DecodedText(text.encode("utf-8"), "cp1252")
    likeliest = from_bytes(_around_odd_bytes(data), cp_isolation=_EIGHT_BIT).best()
    for encoding in (likeliest.encoding if likeliest else "cp1252", "cp1252"):
        try:
            return DecodedText(data.decode(encoding).encode("utf-8"), encoding, is_guess=True)
        except (UnicodeDecodeError, LookupError):
            continue
    return DecodedText(data.decode("latin-1").encode("utf-8"), "latin-1", is_guess=True)


def _around_odd_bytes(data: bytes) -> bytes:
    """Return the lines that hold bytes beyond ASCII, as many as tell: the others say nothing about the encoding."""
    lines, size = [], 0
    for line in data.splitlines(keepends=True):
        if not line.isascii():
            lines.append(line)
            size += len(line)
            if size > _SAMPLE:
                break
    return b"".join(lines)
