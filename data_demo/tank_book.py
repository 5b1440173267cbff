"""What stands in the tank readings: one separated file a year, as a meter's program saves it?"""

from __future__ import annotations

from data_demo.brewery import Brewery
from data_demo.draws import stream
from data_demo.handwriting import batch_word, haze_figure
from data_demo.paper import Book, Cell, Draft, Mark
from data_demo.tanks import TankReading
from data_demo.truth import OXYGEN_LIMIT

__all__ = ["tank_books"]

_STAGES = {"fermenter": "fermenter", "bright_tank": "bright tank", "filler": "filler"}


def tank_books(made: Brewery) -> tuple[Book, Book]:
    """Return the two years' files: semicolons, decimal commas, day before month, "<5" below the meter's limit."""
    return _year(made, 2025), _year(made, 2026)


def _year(made: Brewery, year: int) -> Book:
    rng = stream(f"tank readings {year}")
    page = Draft(f"tank readings {year}", "readings").banner(f"Tank readings {year}")
    page.header(
        "Batch",
        "Run",
        "Tank",
        "Stage",
        "Date",
        "Time",
        "Quantity",
        "Value",
        "Unit",
        "Temperature (°C)",
        "Angle",
        "Meter",
    )
    readings = [r for r in made.tank_readings if r.measured_at.year == year]
    for place, reading in enumerate(readings):
        row = (batch_word(reading.number, rng, "#"), *_cells(reading))
        page.write(row)
        if year == 2026 and place == 100:
            page.write((*row[:7], "lots", *row[8:]), Mark.BAD)
        if year == 2026 and place == 300:
            page.write((*row[:4], "29.02.2026", *row[5:]), Mark.BAD)
    return Book(f"tank readings {year}.csv", (page.page(),))


def _cells(reading: TankReading) -> tuple[Cell, ...]:
    haze = reading.quantity == "haze"
    at = reading.measured_at
    return (
        reading.run or None, reading.vessel or None, _STAGES[reading.stage], f"{at:%d.%m.%Y}", f"{at:%H:%M}",
        "haze" if haze else "DO", _figure(reading, haze), reading.meter.unit, reading.temperature,
        "90°" if haze else None, reading.meter.name,
    )  # fmt: skip


def _figure(reading: TankReading, haze: bool) -> Cell:
    if haze:
        return haze_figure(reading.value, reading.meter)
    return f"<{OXYGEN_LIMIT:g}" if reading.value < OXYGEN_LIMIT else round(reading.value, 1)
