"""What stands in the laboratory's haze book: a sheet a meter, each in its own unit, and a study of the two?"""

from __future__ import annotations

from data_demo.brewery import Brewery
from data_demo.draws import stream
from data_demo.handwriting import haze_figure, reading_mark
from data_demo.laboratory import Pack
from data_demo.paper import Book, Cell, Draft, Mark, Page

__all__ = ["haze_book"]


def haze_book(made: Brewery) -> Book:
    """Return the haze book, without what line 1 reads for itself.

    It hides EBC beside NTU, a forward angle beside 90°, a reading of 9,999, a word for one.
    """
    read = [pack for pack in made.packs if pack.haze is not None]
    first = _first_meter([p for p in read if p.haze_meter.name == "HZ1"])
    second = _second_meter([p for p in read if p.haze_meter.name == "HZ2" and p.run.form.line == "2"])
    return Book("Lab haze.ods", (first, second, _study(made)))


def _first_meter(packs: list[Pack]) -> Page:
    rng = stream("haze book 1")
    page = Draft("HZ1", "readings").banner("Haze, meter HZ1", "EBC at 90°; now and then forward at 25° too")
    page.header("Run", "Stage", "Sample", "Measured", "Haze 90° (EBC)", "Haze 25° (EBC)", "Haze meter")
    for place, pack in enumerate(packs):
        assert pack.haze is not None
        haze: Cell = "broken" if rng.random() < 0.004 else haze_figure(pack.haze, pack.haze_meter)
        forward = None if pack.forward is None else haze_figure(pack.forward, pack.haze_meter)
        row = (pack.run.run, "pack", pack.sample, pack.measured_at, haze, forward, "HZ1")
        page.write(row, reading_mark(haze, forward))
        if place == 200:
            page.write((*row[:2], 31, row[3], 9_999, None, "HZ1"), Mark.BAD)
        if place == 260:
            page.write((*row[:2], 32, row[3], "cloudy", None, "HZ1"), Mark.BAD)
    return page.page()


def _second_meter(packs: list[Pack]) -> Page:
    page = Draft("HZ2", "readings").banner("Haze, meter HZ2", "NTU at 90°")
    page.header("Run", "Stage", "Sample", "Measured", "Haze 90° (NTU)", "Haze meter")
    for place, pack in enumerate(packs):
        assert pack.haze is not None
        if place and pack.run is not packs[place - 1].run and place % 7 == 0:
            page.blank()
        page.write(
            (pack.run.run, "pack", pack.sample, pack.measured_at, haze_figure(pack.haze, pack.haze_meter), "HZ2")
        )
    return page.page()


def _study(made: Brewery) -> Page:
    page = Draft("Meter study", "readings").banner("The same packs on both meters, three times each")
    page.header("Run", "Stage", "Sample", "Measured", "Quantity", "Value", "Unit", "Angle", "Meter", "Replicate")
    for each in made.repeats:
        page.write((
            each.run.run, "pack", each.sample, each.measured_at, "haze", haze_figure(each.haze, each.meter),
            each.meter.unit, "90°", each.meter.name, each.replicate,
        ))  # fmt: skip
    return page.page()
