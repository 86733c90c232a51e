"""`warmwatch signals`: what can be asked for or listened to, and whether a signal file is right."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict

import click

from warmwatch.core.units import QUANTITIES
from warmwatch.signals import Signal, load_signal_file, standard_table
from warmwatch.signals.j1939 import Parameter, j1939_table

EXAMPLE = """\
# A signal file: what to ask this vehicle for. Every number below is invented; take the real ones
# from the vehicle's service information, and compare the first readings with a thermometer.
title = "Invented example"

[[signal]]
name = "fluid_c"          # one of the quantities that `warmwatch signals` lists
service = 0x22            # 0x22 or 0x21 read by identifier, 0x01 current data
identifier = 0x1234
first_byte = 0            # of the record: the bytes after the identifier's echo; counts from 0
length = 2                # bytes, the most significant one first
signed = true
scale = 0.1               # value = number * scale + offset
offset = 0.0
unit = "C"                # or "F"
low = -39.0               # outside low to high, in this unit, a value is not believed
high = 180.0
record_length = 2         # size of the whole record; needed to ask several at once
target = 0x7E1            # where the unit is asked; left out: everybody is asked
source = "where the numbers come from"
"""


@click.command("signals")
@click.argument("paths", nargs=-1, metavar="[FILE]...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--example", is_flag=True, help="Print a signal file to start from.")
def command(paths: Sequence[str], as_json: bool, example: bool) -> None:
    """List the values that are asked for, or check signal FILEs and list theirs."""
    if example:
        click.echo(EXAMPLE, nl=False)
        return
    signals = [s for path in paths for s in load_signal_file(path)] if paths else standard_table()
    parameters = () if paths else j1939_table()
    if as_json:
        content = {
            "signals": [asdict(signal) for signal in signals],
            "j1939": [asdict(parameter) for parameter in parameters],
        }
        click.echo(json.dumps(content, ensure_ascii=False))
        return
    for line in listing(signals, parameters, own=bool(paths)):
        click.echo(line)


def listing(signals: Iterable[Signal], parameters: Sequence[Parameter], own: bool) -> Iterable[str]:
    """Yield the lines to print; `own` says that the signals are from the user's files."""
    yield "Asked with can: and serial:"
    for signal in signals:
        yield _row(signal.name, signal.ask, _formula(signal), _range(signal))
        if own and signal.source:
            yield f"    {signal.source}"
    if own:
        return
    yield ""
    yield "Heard with broadcast: (SAE J1939)"
    for parameter in parameters:
        group = f"group {parameter.pgn}, SPN {parameter.spn}"
        bits = f"byte {parameter.byte}, {parameter.bits} bits"
        formula = f"{bits} * {parameter.scale:.6g} {parameter.offset:+g}"
        yield _row(parameter.name, group, formula, QUANTITIES[parameter.name].unit)
    yield ""
    yield "No standard request gives transmission fluid temperature (fluid_c): name the vehicle's"
    yield "own in a signal file and add signals=FILE to the address. `warmwatch signals --example`"
    yield "prints one to start from; --json adds the source of each row."


def _row(name: str, ask: str, formula: str, words: str) -> str:
    return f"  {name:<20}{ask:<24}{formula:<34}{words}".rstrip()


def _formula(signal: Signal) -> str:
    last = signal.first_byte + signal.length - 1
    span = f"byte {last}" if signal.length == 1 else f"bytes {signal.first_byte}-{last}"
    signed = " signed" if signal.signed else ""
    offset = f" {signal.offset:+g}" if signal.offset else ""
    return f"{span}{signed} * {signal.scale:.6g}{offset} {_unit(signal)}"


def _unit(signal: Signal) -> str:
    return f"deg{signal.unit}" if signal.unit in ("C", "F") else QUANTITIES[signal.name].unit


def _range(signal: Signal) -> str:
    return f"{signal.low:g} to {signal.high:g} {QUANTITIES[signal.name].unit}"
