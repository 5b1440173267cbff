"""What stands in the cellar log: a sheet a month in one year, a sheet a quarter in the next?"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from data_demo.brewery import Brewery
from data_demo.cellar import Job
from data_demo.draws import stream
from data_demo.handwriting import batch_word, job_word, yes_word
from data_demo.paper import Book, Cell, Draft, Mark, Page
from data_demo.truth import PINT_PER_BARREL

__all__ = ["cellar_logs"]

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_TEXT_DATES_IN = 9
"""In September 2025 somebody typed the dates as text, day first."""


def cellar_logs(made: Brewery) -> tuple[Book, Book]:
    """Return the two years' logs.

    They hide job words in many hands, rouses that end past midnight, pints a barrel beside millilitres a hectolitre,
    litres and kilograms for a whole tank, units in the cell, and a further column: was the air bled from the hose?
    """
    rng = stream("cellar log")
    of_2025 = [job for job in made.jobs if job.started_at.year == 2025]
    months = sorted({job.started_at.month for job in of_2025})
    by_month = tuple(_month(rng, m, [j for j in of_2025 if j.started_at.month == m]) for m in months)
    of_2026 = [job for job in made.jobs if job.started_at.year == 2026]
    by_quarter = tuple(
        _quarter(rng, q, [j for j in of_2026 if (j.started_at.month + 2) // 3 == q]) for q in range(1, 5)
    )
    return Book("Cellar log 2025.xlsx", by_month), Book("Cellar log 2026.xlsx", by_quarter)


def _month(rng: np.random.Generator, month: int, jobs: list[Job]) -> Page:
    page = Draft(f"{_MONTHS[month - 1]} 25", "operations").banner(f"Cellar log, {_MONTHS[month - 1]} 2025")
    page.header("Date", "Gyle", "Tank", "Job", "Start", "End", "Amount", "Unit", "Agent", "Air bled?", "By")
    for place, job in enumerate(jobs):
        row = _dated(rng, job, as_text=month == _TEXT_DATES_IN)
        page.write(row)
        if month == 7 and place in (5, 40):
            page.write(row, Mark.REPEAT)
        if month == _TEXT_DATES_IN and place == 20:
            page.write(("31/09/2025", *row[1:]), Mark.BAD)
        if month == 11 and place == 12:
            page.write((*row[:3], None, *row[4:]), Mark.BAD)
    page.blank()
    return page.write(("Jobs in the month", len(jobs)), Mark.TOTAL).page()


def _dated(rng: np.random.Generator, job: Job, as_text: bool) -> tuple[Cell, ...]:
    """Return a job with its date and its clock times in columns of their own; an end may be on the next day."""
    day = job.started_at.date()
    amount, unit = _amount_2025(job)
    return (
        f"{day:%d/%m/%Y}" if as_text else day, batch_word(job.number, rng, "G"), job.vessel, job_word(job, rng),
        _clock(job.started_at, rng), None if job.ended_at is None else _clock(job.ended_at, rng), amount, unit or None,
        job.agent or None, yes_word(job.air_bled, rng), job.by,
    )  # fmt: skip


def _clock(moment: datetime, rng: np.random.Generator) -> Cell:
    return moment.time() if rng.random() < 0.7 else f"{moment:%H:%M}"


def _amount_2025(job: Job) -> tuple[Cell, str]:
    if job.amount is None:
        return None, ""
    if job.agent == "isinglass":
        return round(job.amount / PINT_PER_BARREL, 3), "pt/UK bbl"
    return job.amount, {"mL/hL": "ml/hl", "L": "litres"}.get(job.unit, job.unit)


def _quarter(rng: np.random.Generator, quarter: int, jobs: list[Job]) -> Page:
    page = Draft(f"Q{quarter} 2026", "operations").banner(
        f"Cellar log, quarter {quarter} of 2026", "times as on the wall clock"
    )
    in_cell = quarter == 2
    dose = ("Amount",) if in_cell else ("Amount", "Unit")
    page.header("Batch", "Vessel", "Job", "Started", "Minutes", *dose, "Agent", "Air bled?", "By", "Remarks")
    for place, job in enumerate(jobs):
        row = _timed(rng, job, in_cell)
        page.write(row)
        if quarter == 3 and place == 30:
            page.write(row, Mark.REPEAT)
        if quarter == 4 and place == 10:
            page.write((*row[:3], "after lunch", *row[4:]), Mark.BAD)
    return page.page()


def _timed(rng: np.random.Generator, job: Job, in_cell: bool) -> tuple[Cell, ...]:
    """Return a job with its start as one moment and its length in minutes."""
    minutes = None if job.ended_at is None else (job.ended_at - job.started_at) / timedelta(minutes=1)
    amount = None if job.amount is None else round(job.amount, 2)
    unit = {"mL/hL": "mL/hL", "L": "L"}.get(job.unit, job.unit) or None
    dose: tuple[Cell, ...] = (amount, unit)
    if in_cell:
        dose = (None if amount is None else f"{amount:g} {unit}",)
    remark = "slow to start" if rng.random() < 0.01 else None
    return (
        batch_word(job.number, rng, ""), job.vessel, job_word(job, rng), job.started_at, minutes, *dose,
        job.agent or None, yes_word(job.air_bled, rng), job.by, remark,
    )  # fmt: skip
