"""Can the meters be believed, and what is done with the readings of one that has moved?"""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, datetime

import click

from analysis.findings.meter_correction import MeterTreatment, Treatment
from analysis.findings.meter_decisions import MeterDecision, decide_meter, meter_decisions, take_back_meter, why_not
from analysis.findings.meter_otherwise import verdicts_otherwise
from analysis.findings.meters import MetersFinding, meters
from analysis.findings.table_in_use import table_in_use
from analysis.findings.wording import day, listing
from analysis.ledger import Ledger, snapshot
from dashboard.commands.options import (
    complain,
    json_option,
    ledger_option,
    person_option,
    print_document,
    print_table,
    refuse,
)

__all__ = ["command"]

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.command("meters")
@click.option("--otherwise", is_flag=True, help="Also the verdicts with a moved meter's readings set right or aside.")
@click.option("--set-right", "right", metavar="METER", help="Set right what this meter read since it moved.")
@click.option("--set-aside", "aside", metavar="METER", help="Set aside what this meter read since it moved.")
@click.option("--quantity", metavar="Q", help="Of which quantity, where the meter was checked for several.")
@click.option("--since", type=_DAY, metavar="DATE", help="Only readings of this day or later (YYYY-MM-DD).")
@click.option("--until", type=_DAY, metavar="DATE", help="Only readings of this day or earlier.")
@click.option("--take-back", "number", type=int, metavar="NUMBER", help="Take such a decision back.")
@click.option("--because", default="", metavar="TEXT", help="Why; kept with the decision.")
@person_option
@json_option
@ledger_option
def command(
    ledger: Ledger,
    otherwise: bool,
    right: str | None,
    aside: str | None,
    quantity: str | None,
    since: datetime | None,
    until: datetime | None,
    number: int | None,
    because: str,
    by: str,
    as_json: bool,
) -> None:
    """Say which meters are steady, which drift or have shifted and since when, and how far off they read.

    With --set-right, --set-aside or --take-back, decide first what is done with a meter's readings.
    """
    if sum(one is not None for one in (right, aside, number)) > 1:
        refuse("Give one of --set-right, --set-aside and --take-back.")
    if number is not None or right or aside:
        if not because.strip():
            refuse("Say why with --because: the reason is kept.")
        if number is not None:
            done = _taken_back(ledger, number, because, by)
        else:
            done = _decided(ledger, right, aside, quantity, (_date(since), _date(until)), because, by)
        complain(done)
    _tell(ledger, otherwise, as_json)


def _decided(
    ledger: Ledger,
    right: str | None,
    aside: str | None,
    quantity: str | None,
    days: tuple[date | None, date | None],
    because: str,
    by: str,
) -> str:
    """Write a decision down, and return what to say of it."""
    finding = _asked(ledger)
    name = right or aside or ""
    treatment = Treatment.SET_RIGHT if right else Treatment.SET_ASIDE
    what = MeterTreatment(name, quantity or _quantity(finding, name), treatment, *days)
    why = why_not(what, [one.decision for one in finding.standing], finding.meters)
    if why is not None:
        refuse(why)
    made = decide_meter(ledger, what, because, by, finding.meters)
    return f"Decision {made.number} is kept: dropbright meters --take-back {made.number} takes it back."


def _quantity(finding: MetersFinding, name: str) -> str:
    """Return the quantity that a meter was checked for."""
    known = sorted({m.measure.name for m in finding.meters if m.meter == name})
    if len(known) == 1:
        return known[0]
    if known:
        refuse(f"Meter {name} was checked for several quantities: say which with --quantity ({', '.join(known)}).")
    names = listing(sorted({m.meter for m in finding.meters}), most=20) or "none"
    return refuse(
        f"No check of a meter {name} is on record (there are checks of {names}): say of which --quantity it is."
    )


def _taken_back(ledger: Ledger, number: int, because: str, by: str) -> str:
    standing = [str(one.number) for one in meter_decisions(ledger)]
    if str(number) not in standing:
        refuse(f"No decision {number} about a meter stands. Standing: {listing(standing) or 'none'}.")
    back = take_back_meter(ledger, number, because, by)
    return f"Decision {back.number} is taken back: the readings of {back.what.meter} are used as they were read."


def _asked(ledger: Ledger) -> MetersFinding:
    table = table_in_use(ledger)
    return meters(snapshot(ledger, table.state), table, meter_decisions(ledger, standing=False))


def _tell(ledger: Ledger, otherwise: bool, as_json: bool) -> None:
    """Print the finding, and end with its exit code."""
    finding = _asked(ledger)
    told = verdicts_otherwise(ledger, table_in_use(ledger), finding.meters) if otherwise else ()
    if as_json:
        print_document({**finding.as_document(), **({"otherwise": [asdict(one) for one in told]} if otherwise else {})})
    else:
        print_table(*finding.in_words())
        if finding.standing:
            lines = [_line(one.decision, one.says) for one in finding.standing]
            print_table(["Number", "Meter", "Decided", "By", "Because", "What it does"], lines)
        if told:
            ways = [[one.measure, one.practice, one.as_read, one.set_right, one.set_aside] for one in told]
            print_table(["Measure", "Practice", "As read", "Set right", "Set aside"], ways)
        for words in (*(one.course for one in finding.standing), *finding.cautions, finding.answer):
            complain(words)
    raise SystemExit(0 if finding.meters else 1)


def _line(decision: MeterDecision, says: str) -> list[str]:
    return [str(decision.number), decision.what.meter, day(decision.at), decision.by, decision.because, says]


def _date(moment: datetime | None) -> date | None:
    return None if moment is None else moment.date()
