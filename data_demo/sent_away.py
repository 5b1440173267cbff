"""What stands on the sheet that came back from a laboratory elsewhere, and must be asked about?"""

from __future__ import annotations

from data_demo.brewery import Brewery
from data_demo.draws import stream
from data_demo.paper import Book, Draft, Mark

__all__ = ["sent_away_book"]

_SAMPLES = 6


def sent_away_book(made: Brewery) -> Book:
    """Return a small sheet with two questions in it: "FTU" alone, and dates that fit day-month and month-day alike."""
    rng = stream("sent away")
    page = Draft("Results", "readings").banner("Results from the laboratory that we sent packs to")
    page.header("Run", "Stage", "Sample", "Date", "Haze (FTU)")
    early = [r for r in made.runs if r.packed_at.day < 11 and r.packed_at.year == 2026 and r.form.headspace]
    for run in early[:_SAMPLES]:
        at = run.packed_at.replace(day=run.packed_at.day + 1)
        figure = round(run.haze * 69 * float(rng.normal(1, 0.1)), 0)
        page.write((run.run, "pack", "S1", f"{at:%d/%m/%Y}", figure), Mark.ASKED)
    return Book("sent away.xlsx", (page.page(),))
