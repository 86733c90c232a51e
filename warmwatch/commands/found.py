"""`warmwatch link` without an address: what is at the ports of this computer, and what to do."""

import json
from collections.abc import Iterator
from dataclasses import asdict

import click

from warmwatch.links.trying.finding import Recognised, can_interfaces, ports, recognise

BAND = {"C": "80:90", "F": "176:194"}
"""A band for the command that is shown; service information gives the real one."""
NOTHING = (
    "No serial port and no CAN interface is here. Plug the adapter in and try again. An adapter on "
    "the network: warmwatch link serial:socket://HOST:PORT"
)
NONE_KNOWN = (
    "No adapter was recognised. Is it plugged in, does it get power (ignition on)? An adapter on "
    "the network: warmwatch link serial:socket://HOST:PORT"
)


def show_found(as_json: bool, unit: str) -> int:
    """Look at each port and print what is there; 0 when something was recognised."""
    found = []
    for one in _looked():
        found.append(one)
        if not as_json:
            click.echo(_text(one, unit))
    if as_json:
        click.echo(json.dumps({"found": [asdict(one) for one in found]}, ensure_ascii=False))
    elif not any(one.kind for one in found):
        click.echo(NONE_KNOWN if found else NOTHING)
    return 0 if any(one.kind for one in found) else 1


def _looked() -> Iterator[Recognised]:
    yield from can_interfaces()
    for port in ports():
        click.echo(f"looking at {port.name} ...", err=True)
        yield recognise(port.name)


def _text(one: Recognised, unit: str) -> str:
    """Return what was found, what to try next, and the command to watch."""
    if not one.kind:
        return f"{one.port}: {one.seen}" + (f"\n    next:  {one.advice}" if one.advice else "")
    signals = (
        "" if one.kind == "lines" else ("&" if "?" in one.address else "?") + "signals=my.toml"
    )
    watch = f'warmwatch watch "{one.address}{signals}" --band {BAND[unit]}'
    return (
        f"{one.port}: {one.seen}\n"
        f'    next:  warmwatch link "{one.address}"\n'
        f"    watch: {watch}{' --unit F' if unit == 'F' else ''}"
    )
