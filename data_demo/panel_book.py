"""What stands in the panel's book: a row a score, and the triangle tests?"""

from __future__ import annotations

from data_demo.brewery import Brewery
from data_demo.paper import Book, Draft, Mark, Page

__all__ = ["panel_book"]


def panel_book(made: Brewery) -> Book:
    """Return the panel's book. It hides a score in words, a retyped score, and a test with more right than tasters."""
    return Book("Taste panel.xlsx", (_scores(made, 2025), _scores(made, 2026), _triangles(made)))


def _scores(made: Brewery, year: int) -> Page:
    page = Draft(f"Scores {year}", "tastings").banner(
        f"Panel scores {year}", "0 not at all, 9 very strong; clarity 9 bright"
    )
    page.header("Run", "Tasted on", "Panellist", "Attribute", "Score", "Scale")
    scores = [s for s in made.scores if s.tasted_on.year == year]
    for place, each in enumerate(scores):
        if place and each.tasted_on != scores[place - 1].tasted_on:
            page.blank()
        attribute = each.attribute.replace("_", " ")
        row = (each.run.run, each.tasted_on, each.taster.initials, attribute, each.score, "0-9")
        page.write(row)
        if year == 2026 and place == 90:
            page.write((*row[:2], "QQ", attribute, "seven", "0-9"), Mark.BAD)
        if year == 2025 and place == 33:
            page.write(row, Mark.REPEAT)
    return page.page()


def _triangles(made: Brewery) -> Page:
    page = Draft("Triangles", "taste_tests").banner("Triangle tests")
    page.header("Run", "Other run", "Test", "Tasted on", "Tasters", "Correct")
    for each in made.triangles:
        page.write((each.run.run, each.other.run, "triangle", each.tasted_on, each.tasters, each.correct))
    last = made.triangles[-1]
    return page.write((last.other.run, last.run.run, "triangle", last.tasted_on, 12, 14), Mark.BAD).page()
