"""What does physics say of the gas and the oxygen that I have here?"""

from __future__ import annotations

from collections.abc import Callable

import click

from analysis.findings.beer_factor import BeerFactor, beer_factor, give_up_factor, set_factor
from analysis.findings.figure_entries import Entered, Field, read_entry
from analysis.findings.gas_figure import Figure
from analysis.findings.gas_figures import FIGURES, work_out
from analysis.findings.oxygen_limits import (
    WORKING_LIMITS,
    OwnLimit,
    WorkingLimit,
    give_up_limit,
    oxygen_limits,
    set_limit,
)
from analysis.ledger import Ledger
from dashboard.commands.options import (
    complain,
    json_option,
    ledger_option,
    person_option,
    print_document,
    refuse,
    tell,
)

__all__ = ["command"]


@click.group("oxygen")
def command() -> None:
    """Work out a figure of gas or oxygen: purging, trapped air, packs, closures, solubility.

    \b
    Figures are typed as the trade writes them, with ± where it is known:
      dropbright oxygen purge --cycles 5 --gauge "1.0 ± 0.05 bar"
      dropbright oxygen shaken --reading "40 +- 2 ppb" --beer 440mL --headspace 20mL --temperature 68F
    """


def _command_of(figure: Figure) -> click.Command:
    """Return the subcommand of a figure, with an option for each of its fields."""

    def run(ledger: Ledger, as_json: bool, **given: str | None) -> None:
        typed = {name: text for name, text in given.items() if text is not None}
        found = work_out(figure.name, typed, beer_factor(ledger), ledger.state)
        if found.faults:
            for fault in found.faults:
                complain(f"--{_option(fault.field)}: {fault.message}")
            if as_json:
                print_document(found.as_document())
            raise SystemExit(2)
        tell(found, as_json)
        raise SystemExit(0 if found.answered else 1)

    run.__doc__ = figure.question
    wrapped: Callable[..., object] = json_option(ledger_option(run))
    for field in reversed(figure.fields):
        wrapped = click.option(
            f"--{_option(field.name)}", field.name, show_default=field.usual or False,
            metavar="WORDS" if field.choices else "FIGURE", help=_help(field),
        )(wrapped)  # fmt: skip
    return click.command(figure.name)(wrapped)


def _option(name: str) -> str:
    return name.replace("_", "-")


def _help(field: Field) -> str:
    choices = f" One of: {'; '.join(field.choices)}." if field.choices else ""
    return f"{field.label}. {field.hint}{choices}".strip()


@command.command("factor")
@click.argument("value", type=float, required=False)
@click.option("--because", metavar="TEXT", default="", help="Why it is set, or given up.")
@click.option("--give-up", is_flag=True, help="Take the last setting back.")
@person_option
@json_option
@ledger_option
def _factor(ledger: Ledger, as_json: bool, value: float | None, because: str, by: str, give_up: bool) -> None:
    """Say how much oxygen beer is taken to dissolve for each part that water does, or set it to VALUE.

    \b
      dropbright oxygen factor
      dropbright oxygen factor 0.95 --because "two meters against a titration" --by "A. Maltby"
    """
    if give_up and value is not None:
        refuse("Either set a value or give the last one up.")
    try:
        factor = _changed(ledger, value, because, by, give_up)
    except ValueError as error:
        refuse(str(error).partition(": ")[2] or str(error))
    if as_json:
        print_document({"beer_factor": factor.as_document(), "ledger_state": ledger.state})
    else:
        click.echo(factor.sentence)


def _changed(ledger: Ledger, value: float | None, because: str, by: str, give_up: bool) -> BeerFactor:
    if give_up:
        return give_up_factor(ledger, because, by)
    return beer_factor(ledger) if value is None else set_factor(ledger, value, because, by)


@command.command("limit")
@click.argument("point", type=click.Choice([limit.point for limit in WORKING_LIMITS]), required=False)
@click.option("--good", metavar="FIGURE", help="Good up to this, such as 15ppb.")
@click.option("--act", metavar="FIGURE", help="Calls for action from this on.")
@click.option("--because", metavar="TEXT", default="", help="Why it is set, or given up.")
@click.option("--give-up", is_flag=True, help="Take the point's last setting back.")
@person_option
@json_option
@ledger_option
def _limit(
    ledger: Ledger, as_json: bool, point: str | None, good: str | None, act: str | None, because: str, by: str,
    give_up: bool,
) -> None:  # fmt: skip
    """Say which oxygen is good at each point of the way, or set the limit of a POINT.

    \b
      dropbright oxygen limit
      dropbright oxygen limit bright_tank --good 15ppb --act 30ppb --because "our meter reads to 1" --by "A. Maltby"
    """
    try:
        if point is not None and give_up:
            give_up_limit(ledger, point, because, by)
        elif point is not None:
            set_limit(ledger, point, _oxygen("--good", good), _oxygen("--act", act), because, by)
        elif good or act or give_up:
            refuse("Name the point.")
    except ValueError as error:
        refuse(str(error).partition(": ")[2] or str(error))
    own = {limit.point: limit for limit in oxygen_limits(ledger)}
    if as_json:
        print_document({"limits": [_limit_document(limit, own.get(limit.point)) for limit in WORKING_LIMITS]})
        return
    for limit in WORKING_LIMITS:
        click.echo(own[limit.point].sentence if limit.point in own else limit.sentence)


def _oxygen(option: str, typed: str | None) -> float:
    read = read_entry(Field(option, option, "dissolved_oxygen", takes_spread=False), typed or "")
    if not isinstance(read, Entered):
        refuse(f"{option}: {'' if read is None else read.message}")
    return read.value


def _limit_document(limit: WorkingLimit, own: OwnLimit | None) -> dict[str, object]:
    told = limit if own is None else own
    return {
        "point": limit.point, "kind": limit.kind, "good": told.good, "act": told.act,
        "limit_is": "a working target" if own is None else "the brewery's",
        "set_by": None if own is None else own.by, "because": None if own is None else own.because,
    }  # fmt: skip


for _figure in FIGURES:
    command.add_command(_command_of(_figure))
