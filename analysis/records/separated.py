"""What stands in the cells of a text table: csv, tsv, or separated by anything else?

The separator, the quote and the decimal sign are found from the file. The fast reader takes rows of one width; rows of
another width (a banner, a remark) are set aside by it with their number and put back in their place.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePath
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from analysis.problems import Problem, Severity
from analysis.records.cells import TEXT, RawColumn, RawSheet
from analysis.records.decimals import decimal_of_columns
from analysis.records.limits import Limits
from analysis.records.refusals import NotReadError
from analysis.records.text_encoding import decode

__all__ = ["Layout", "find_layout", "read_separated"]

_SEPARATORS = ("\t", ";", "|", ",")  # where two fit as well, the comma comes last: it may be a decimal sign
_SAMPLE_BYTES = 131_072
_SAMPLE_ROWS = 300
_BLOCK_BYTES = 4 << 20
_MANY_RAGGED = 20_000
_LONGEST_CELL, _MOST_LINES = 32_767, 100
_ROWS_AT_A_TIME = 50_000
_END = "\x1f"
_SEP_LINE = re.compile(rb'"?sep=(.)"?\r?\n', re.IGNORECASE)


@dataclass(frozen=True)
class Layout:
    """How a text table is written: what parts its cells, what quotes them (None: nothing), and how many a row has.

    ``is_spaced`` is true where spaces stand before opening quotes, as in ``2417, "taken late, warm"``.
    """

    separator: str
    quote: str | None
    width: int
    is_spaced: bool = False


@dataclass
class _Ragged:
    """The rows that the fast reader set aside: their numbers, from 1, and their texts."""

    numbers: list[int] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    def take(self, row: Any) -> str:
        if len(self.numbers) >= _MANY_RAGGED:
            return "error"
        self.numbers.append(row.number)
        self.texts.append(row.text)
        return "skip"


def read_separated(data: bytes, file: str, limits: Limits) -> tuple[RawSheet, tuple[Problem, ...]]:
    """Return the one sheet of a text table, and notes on how it was read.

    Parameters
    ----------
    data : bytes
        The whole file.
    file : str
        What the user calls it.
    limits : Limits
        What it may ask for.

    Raises
    ------
    NotReadError
        If it is no text, or more than is allowed.
    """
    text = decode(data)
    utf8, named = _without_sep_line(text.utf8)
    layout = find_layout(utf8, named)
    columns, problems = _read_columns(utf8, layout, file, limits)
    n_rows = len(columns[0]) if columns else 0
    if text.is_guess:
        problems = (*problems, _encoding_note(file, text.encoding))
    decimal = _decimal(columns, layout.separator)
    sheet = RawSheet(
        file, PurePath(file).stem, columns, n_rows, decimal=decimal, encoding=text.encoding, separator=layout.separator
    )
    return sheet, problems


def find_layout(utf8: bytes, named: str | None = None) -> Layout:
    """Return how a text table is written, from its first few hundred rows.

    Parameters
    ----------
    utf8 : bytes
        The table, in UTF-8.
    named : str, optional
        The separator, where the file itself names it.
    """
    sample = _sample(utf8)
    quote = _quote(sample)
    candidates = (named,) if named else _SEPARATORS
    fits = [_fit(sample, separator, quote) for separator in candidates]
    best = max(fits, key=lambda fit: fit[0])[1]
    spaced = best.quote and re.search(rf"{re.escape(best.separator)} +{best.quote}", sample)
    return replace(best, is_spaced=bool(spaced))


def _without_sep_line(utf8: bytes) -> tuple[bytes, str | None]:
    """Take off a first line ``sep=;``, which a spreadsheet program heeds and does not show."""
    line = _SEP_LINE.match(utf8)
    return (utf8[line.end() :], line.group(1).decode("ascii", "replace")) if line else (utf8, None)


def _sample(utf8: bytes) -> str:
    sample = utf8[:_SAMPLE_BYTES]
    if len(sample) < len(utf8):
        sample = sample[: sample.rfind(b"\n") + 1] or sample
    return sample.decode("utf-8", "ignore")


def _quote(sample: str) -> str | None:
    if '"' in sample or "'" not in sample:
        return '"'
    single = len(re.findall(r"(?:^|[,;\t|])'[^'\n]*'(?=$|[,;\t|])", sample, re.MULTILINE))
    return "'" if single * 4 > sample.count("'") else '"'


def _fit(sample: str, separator: str, quote: str | None) -> tuple[float, Layout]:
    """Return how well a separator fits: the share of rows that have the commonest width above one."""
    widths = [len(row) for row in _sample_rows(sample, separator, quote) if any(row)]
    wide = Counter(width for width in widths if width > 1)
    if not wide:
        return 0.0, Layout(separator, quote, 1)
    width, rows = wide.most_common(1)[0]
    return rows / len(widths), Layout(separator, quote, width)


def _sample_rows(sample: str, separator: str, quote: str | None) -> list[list[str]]:
    rows = []
    try:
        for row in _row_reader(sample, separator, quote):
            rows.append(row)
            if len(rows) == _SAMPLE_ROWS:
                break
    except csv.Error:
        return rows
    return rows


def _row_reader(text: str, separator: str, quote: str | None) -> Any:
    lines = io.StringIO(text, newline="")
    if quote is None:
        return csv.reader(lines, delimiter=separator, quoting=csv.QUOTE_NONE)
    return csv.reader(lines, delimiter=separator, quotechar=quote, skipinitialspace=separator != "\t")


def _read_columns(
    utf8: bytes, layout: Layout, file: str, limits: Limits
) -> tuple[tuple[RawColumn, ...], tuple[Problem, ...]]:
    if layout.width > limits.columns:
        raise NotReadError("sheet-too-large", f"{layout.width} columns")
    if layout.is_spaced:
        return _read_row_by_row(utf8, layout, file, limits)
    ragged = _Ragged()
    try:
        table = _read_even_rows(utf8, layout, ragged)
        extra = [_cells_of(text, layout) for text in ragged.texts]
    except (pa.ArrowInvalid, csv.Error):
        return _read_row_by_row(utf8, layout, file, limits)
    width = max([layout.width, *map(len, extra)])
    n_rows = table.num_rows + len(extra)
    if width > limits.columns or n_rows * width > limits.cells:
        raise NotReadError("sheet-too-large", f"{n_rows} rows of {width} columns")
    columns = tuple(_columns_of(table, ragged, extra, width))
    try:
        if layout.quote and layout.quote.encode() in utf8:
            _check_lines(columns)
    except csv.Error:
        return _read_row_by_row(utf8, layout, file, limits)
    return columns, ()


def _read_even_rows(utf8: bytes, layout: Layout, ragged: _Ragged) -> Any:
    """Return the rows that have the table's width; whatever stands aside is in ``ragged``.

    Several threads do not number the rows that they set aside: where there are any, one thread reads the file again.
    """
    table = _read_arrow(utf8, layout, ragged, several_threads=True)
    if ragged.texts:
        ragged.numbers.clear()
        ragged.texts.clear()
        table = _read_arrow(utf8, layout, ragged, several_threads=False)
    return table.unify_dictionaries().combine_chunks()


def _read_arrow(utf8: bytes, layout: Layout, ragged: _Ragged, several_threads: bool) -> Any:
    names = [str(j) for j in range(layout.width)]
    words = pa.dictionary(pa.int32(), pa.string())
    return pa.csv.read_csv(
        pa.BufferReader(utf8),
        read_options=pa.csv.ReadOptions(column_names=names, use_threads=several_threads, block_size=_BLOCK_BYTES),
        parse_options=pa.csv.ParseOptions(
            delimiter=layout.separator,
            quote_char=layout.quote or False,
            newlines_in_values=layout.quote is not None,
            ignore_empty_lines=False,
            invalid_row_handler=ragged.take,
        ),
        convert_options=pa.csv.ConvertOptions(column_types=dict.fromkeys(names, words), strings_can_be_null=False),
    )


def _cells_of(text: str, layout: Layout) -> list[str]:
    """Return the cells of one row; raise ``csv.Error`` where a quote that opens in it never closes."""
    rows = list(_whole_rows(text, layout))
    return rows[0] if rows else [""]


def _whole_rows(text: str, layout: Layout) -> Iterator[list[str]]:
    """Yield rows; raise ``csv.Error`` where a quote swallows more lines than a cell can hold, or the end."""
    end = f"{'' if text.endswith((chr(10), chr(13))) else chr(10)}{_END}"
    row: list[str] = []
    for row in _row_reader(text + end, layout.separator, layout.quote):
        if any(len(cell) > _LONGEST_CELL or cell.count("\n") > _MOST_LINES for cell in row):
            break
        if row != [_END]:
            yield row
    if row != [_END]:
        raise csv.Error("a quote is never closed")


def _check_lines(columns: Iterable[RawColumn]) -> None:
    for column in columns:
        lines = pc.max(pc.count_substring(column.words, "\n")).as_py()
        if lines is not None and lines > _MOST_LINES:
            raise csv.Error("a quote is never closed")


def _columns_of(table: Any, ragged: _Ragged, extra: Sequence[Sequence[str]], width: int) -> list[RawColumn]:
    n_rows = table.num_rows + len(extra)
    aside = np.array(ragged.numbers, dtype=np.intp) - 1
    even = np.ones(n_rows, dtype=bool)
    even[aside] = False
    columns = []
    for j in range(width):
        code, words = np.full(n_rows, -1, dtype=np.int32), pa.array([], pa.string())
        if j < table.num_columns and table.num_rows:
            read = table.column(j).chunk(0)
            words = read.dictionary
            code[even] = read.indices.to_numpy()
        if len(extra):
            texts = [row[j] if j < len(row) else "" for row in extra]
            code[aside] = np.arange(len(texts)) + len(words)
            words = pa.concat_arrays([words, pa.array(texts, pa.string())])
        columns.append(RawColumn.of_cells(_tags(n_rows), code, words))
    return columns


def _tags(n_rows: int) -> np.ndarray:
    return np.full(n_rows, TEXT, dtype=np.int8)


def _read_row_by_row(
    utf8: bytes, layout: Layout, file: str, limits: Limits
) -> tuple[tuple[RawColumn, ...], tuple[Problem, ...]]:
    """Read a table whose rows are of many widths, or in which a quote opens and never closes."""
    text = utf8.decode("utf-8")
    try:
        return _columns_of_rows(text, layout, limits), ()
    except csv.Error:
        unquoted = replace(layout, quote=None)
    try:
        return _columns_of_rows(text, unquoted, limits), (_quote_note(file, text, layout.quote or '"'),)
    except csv.Error as error:
        raise NotReadError("text-unreadable", f"it has a cell of more than {_LONGEST_CELL} letters") from error


def _columns_of_rows(text: str, layout: Layout, limits: Limits) -> tuple[RawColumn, ...]:
    """Read the rows a block at a time: cells as Python texts take ten times the room of a column's."""
    blocks: list[list[Any]] = []
    n_rows, rows = 0, _whole_rows(text, layout)
    while block := list(itertools.islice(rows, _ROWS_AT_A_TIME)):
        n_rows += len(block)
        width = max(len(blocks), *map(len, block))
        if width > limits.columns or n_rows * width > limits.cells:
            raise NotReadError("sheet-too-large", f"more than {n_rows} rows of {width} columns")
        blocks += [[pa.nulls(n_rows - len(block), pa.string())] for _ in range(width - len(blocks))]
        for j, parts in enumerate(blocks):
            parts.append(pa.array([row[j] if j < len(row) else None for row in block], pa.string()))
    return tuple(_column_of_parts(parts) for parts in blocks)


def _column_of_parts(parts: Sequence[Any]) -> RawColumn:
    encoded = pa.chunked_array(parts, pa.string()).dictionary_encode().combine_chunks()
    return RawColumn.of_cells(_tags(len(encoded)), encoded.indices.fill_null(-1).to_numpy(), encoded.dictionary)


def _quote_note(file: str, text: str, quote: str) -> Problem:
    lines = text.splitlines()
    odd = next((i for i, line in enumerate(lines) if line.count(quote) % 2), 0)
    return Problem(
        "quote-unclosed",
        f"A {quote} opens a quoted text and is never closed, so that quotes were read as ordinary characters.",
        "Check the row, and take the file in again if its cells are not what they should be.",
        Severity.NOTE,
        file=file,
        row=odd + 1,
    )


def _encoding_note(file: str, encoding: str) -> Problem:
    return Problem(
        "encoding-guessed",
        f"The file does not say which characters its bytes mean; {encoding} was taken as the likeliest.",
        "Check the letters with accents and the signs of units; if they are wrong, save the file as UTF-8.",
        Severity.NOTE,
        file=file,
    )


def _decimal(columns: Sequence[RawColumn], separator: str) -> str | None:
    """Return the decimal sign that the cells agree on; where they show none, a comma between cells leaves the point."""
    shown = decimal_of_columns(column.words for column in columns)
    return "." if shown is None and separator == "," else shown
