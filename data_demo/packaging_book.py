"""What stands in the packaging hall's books: a row a can on line 1, runs and packs apart on line 2?"""

from __future__ import annotations

import numpy as np

from data_demo.brewery import Brewery
from data_demo.draws import stream
from data_demo.handwriting import batch_word, haze_figure, oxygen_figure, reading_mark
from data_demo.laboratory import Pack
from data_demo.packaging import Run
from data_demo.paper import Book, Cell, Draft, Mark, Page

__all__ = ["line_1_book", "line_2_book"]

_FORMAT_WORDS = {"can": ("can", "cans"), "bottle": ("bottle", "btl"), "keg": ("keg", "kegs")}


def line_1_book(made: Brewery) -> Book:
    """Return line 1's book, a row a can. It hides lost readings, a can typed twice, a can typed with another figure.

    Its last sheet has cans from the shelf, whose oxygen had been consumed for weeks when they were read.
    """
    fresh = [p for p in made.packs if p.run.form.line == "1" and p.haze is not None]
    pages = tuple(_wide(year, [p for p in fresh if p.measured_at.year == year]) for year in (2025, 2026))
    shelf = [p for p in made.packs if p.haze is None]
    return Book("Line 1 cans.xlsx", (*pages, _shelf(shelf)))


def line_2_book(made: Brewery) -> Book:
    """Return line 2's book: a sheet of runs with the fill temperature in °F, a sheet of packs by year.

    In 2025 the packs have dissolved oxygen alone, with the headspace beside the run.
    """
    fresh = [p for p in made.packs if p.run.form.line == "2" and p.haze is not None]
    packs = tuple(_packs(year, [p for p in fresh if p.measured_at.year == year]) for year in (2025, 2026))
    return Book("Line 2 bottles cans kegs.xlsx", (_runs([r for r in made.runs if r.form.line == "2"]), *packs))


def _wide(year: int, packs: list[Pack]) -> Page:
    rng = stream(f"line 1 {year}")
    page = Draft(str(year), "pack_runs").banner(f"Line 1, {year}", "one row a can; DO after shaking")
    page.header(
        "Run", "Gyle", "Packed on", "Start time", "Format", "Size (mL)", "Headspace (mL)", "Line", "Fill temp (°C)",
        "Can", "Measured", "DO shaken (ppb)", "TPO (ppb)", "Sample temp (°C)", "O2 meter", "Haze 90° (NTU)",
        "Haze meter",
    )  # fmt: skip
    for place, pack in enumerate(packs):
        if place and pack.run is not packs[place - 1].run and rng.random() < 0.3:
            page.blank()
        row = _can_row(rng, pack, "G" if year == 2025 else "")
        page.write(row)
        if year == 2025 and place in (60, 150):
            page.write(row, Mark.REPEAT)
        if year == 2026 and place == 80:
            page.write((*row[:11], round(pack.dissolved + 18, 1), *row[12:]), Mark.CONTRADICTION)
        if year == 2026 and place == 120:
            page.write((None, None, *row[2:]), Mark.BAD)
        if year == 2026 and place == 160:
            page.write((*row[:9], 91, row[10], 250_000, *row[12:]), Mark.BAD)
    read = [pack.dissolved for pack in packs]
    page.blank()
    return page.write(("Average", *[None] * 10, round(float(np.mean(read)), 1)), Mark.TOTAL).page()


def _can_row(rng: np.random.Generator, pack: Pack, usual: str) -> tuple[Cell, ...]:
    """Return a can's row; the line has the second haze meter beside it, cans for the first go to the laboratory."""
    haze: tuple[Cell, ...] = (None, None)
    if pack.haze is not None and pack.haze_meter.name == "HZ2":
        haze = (haze_figure(pack.haze, pack.haze_meter), "HZ2")
    return (
        *_run_cells(rng, pack.run, usual), pack.run.fill_temperature, pack.sample, pack.measured_at,
        oxygen_figure(pack.dissolved, rng), oxygen_figure(pack.total, rng, limit=None), pack.temperature,
        pack.oxygen_meter.name, *haze,
    )  # fmt: skip


def _run_cells(rng: np.random.Generator, run: Run, usual: str) -> tuple[Cell, ...]:
    word = _FORMAT_WORDS[run.form.format][int(rng.random() < 0.2)]
    return (
        run.run, batch_word(run.batch.number, rng, usual), run.packed_at.date(), run.packed_at.time(), word,
        run.form.size, run.headspace or None, run.form.line,
    )  # fmt: skip


def _shelf(packs: list[Pack]) -> Page:
    rng = stream("shelf")
    page = Draft("Shelf", "readings").banner("From the shelf", "old packs, opened weeks after packing")
    page.header("Run", "Stage", "Sample", "Opened", "DO shaken (ppb)", "Temp (°C)", "O2 meter")
    for pack in packs:
        read = oxygen_figure(pack.dissolved, rng)
        page.write(
            (pack.run.run, "pack", pack.sample, pack.measured_at, read, pack.temperature, pack.oxygen_meter.name),
            reading_mark(read),
        )
    return page.page()


def _runs(runs: list[Run]) -> Page:
    rng = stream("line 2 runs")
    page = Draft("Runs", "pack_runs").banner("Line 2, runs")
    page.header("Run no.", "Batch", "Date", "Start", "Format", "Size (ml)", "Headspace (ml)", "Line", "Fill temp (°F)")
    for place, run in enumerate(runs):
        row = (*_run_cells(rng, run, "#"), round(run.fill_temperature * 1.8 + 32, 1))
        page.write(row)
        if place == 25:
            page.write(("R2999", *row[1:2], "soon", *row[3:]), Mark.BAD)
    return page.page()


def _packs(year: int, packs: list[Pack]) -> Page:
    rng = stream(f"line 2 {year}")
    total = ("TPO (ppb)",) if year == 2026 else ()
    page = Draft(f"Packs {year}", "readings").banner(f"Line 2, packs {year}")
    page.header("Run no.", "Stage", "Sample", "Measured", "DO (ppb)", *total, "Temp (°C)", "O2 meter")
    for place, pack in enumerate(packs):
        read = [oxygen_figure(pack.dissolved, rng)]
        if total:
            read.append(oxygen_figure(pack.total, rng, limit=None))
        row = (
            pack.run.run, "pack", pack.sample, pack.measured_at, *read, pack.temperature, pack.oxygen_meter.name,
        )  # fmt: skip
        page.write(row, reading_mark(*read))
        if year == 2026 and place == 50:
            page.write((None, *row[1:]), Mark.BAD)
    return page.page()
