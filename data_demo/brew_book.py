"""What stands in the brew book: brews by year, moves between tanks, targets?"""

from __future__ import annotations

import numpy as np

from data_demo.brewery import Brewery
from data_demo.draws import stream
from data_demo.handwriting import batch_word, specific_gravity
from data_demo.paper import Book, Cell, Draft, Mark, Page
from data_demo.schedule import Batch
from data_demo.truth import TARGETS

__all__ = ["brew_book"]


def brew_book(made: Brewery) -> Book:
    """Return the brew book. It hides gravities in two units, batch numbers in four hands, and a brew without a beer."""
    pages = (_cover(), _brews_2025(made), _brews_2026(made), _moves(made), _targets())
    return Book("brew book 2025-26.xlsx", pages)


def _cover() -> Page:
    page = Draft("Cover", None).banner("Brew book", "kept by the brewhouse; one sheet a year")
    return page.write(("Ask before you change a formula.",), Mark.BANNER).page()


def _gravities(rng: np.random.Generator, batch: Batch) -> tuple[float, float]:
    """Return original and final gravity [°P]."""
    original = batch.recipe.plato + float(rng.normal(0, 0.15))
    return round(original, 1), round(original * 0.22 + float(rng.normal(0, 0.1)), 1)


def _brews_2025(made: Brewery) -> Page:
    rng = stream("brews 2025")
    page = Draft("Brews 2025", "batches").banner("Brews 2025")
    page.header("Gyle", "Recipe", "Style", "Brew date", "Vol (hL)", "FV", "OG (°P)", "FG (°P)", "Yeast generation")
    brews = [b for b in made.batches if b.brewed_at.year == 2025]
    for place, batch in enumerate(brews):
        if place and batch.brewed_at.month != brews[place - 1].brewed_at.month:
            page.blank()
        generation = made.plans[batch.key].yeast_generation
        page.write((
            batch_word(batch.number, rng), batch.recipe.code, batch.recipe.style, batch.brewed_at.date(), batch.volume,
            batch.fermenter, *_gravities(rng, batch), generation,
        ))  # fmt: skip
    page.blank()
    total: tuple[Cell, ...] = ("Total", None, None, None, round(sum(b.volume for b in brews), 1))
    return page.write(total, Mark.TOTAL).page()


def _brews_2026(made: Brewery) -> Page:
    rng = stream("brews 2026")
    page = Draft("Brews 2026", "batches").banner("Brews 2026", "gravities as SG from January on")
    page.header(
        "Batch no.", "Recipe", "Brewed on", "Fermenter", "Volume [hL]", "OG (SG)", "FG (SG)", "Yeast generation"
    )
    brews = [b for b in made.batches if b.brewed_at.year == 2026]
    for place, batch in enumerate(brews):
        if place == len(brews) // 2:
            page.write(("#2599", None, batch.brewed_at.date(), "FV2", 24.8), Mark.BAD)
        original, final = _gravities(rng, batch)
        page.write((
            batch_word(batch.number, rng, "#"), batch.recipe.code, batch.brewed_at.date(),
            _spaced(batch.fermenter, rng), batch.volume, specific_gravity(original), specific_gravity(final),
            made.plans[batch.key].yeast_generation,
        ))  # fmt: skip
    volumes = [b.volume for b in brews]
    page.write(("Total", None, None, None, round(sum(volumes), 1)), Mark.TOTAL)
    return page.write(("Average", None, None, None, round(sum(volumes) / len(volumes), 2)), Mark.TOTAL).page()


def _spaced(vessel: str, rng: np.random.Generator) -> str:
    """Return a vessel's name in one of the ways that people have."""
    letters, digit = vessel[:2], vessel[2:]
    return (vessel, f"{letters} {digit}", f"{letters.lower()}{digit}")[rng.integers(3)]


def _moves(made: Brewery) -> Page:
    rng = stream("moves")
    page = Draft("Movements", "transfers").banner("Movements between tanks", "both batches where two were blended")
    page.header("From batch", "To batch", "From vessel", "To vessel", "Volume (hL)", "Date", "Time")
    moves = sorted((m for b in made.batches if b.packed for m in b.moves), key=lambda m: m.moved_at)
    for move in moves:
        page.write((
            batch_word(move.from_batch, rng), batch_word(move.to_batch, rng), move.from_vessel, move.to_vessel,
            move.volume, move.moved_at.date(), move.moved_at.time(),
        ))  # fmt: skip
    return page.page()


def _targets() -> Page:
    page = Draft("Targets", "targets").banner("What we aim for, and the smallest difference that matters to us")
    page.header("Recipe", "Format", "Measure", "Lower", "Upper", "Target", "Margin")
    for aim in TARGETS:
        measure = "Haze (EBC)" if aim.measure == "Haze" else aim.measure
        page.write((aim.recipe, aim.format, measure, aim.lower, aim.upper, aim.target, aim.margin))
    return page.page()
