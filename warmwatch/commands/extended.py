"""Asks before a unit is sent into its extended session, which a signal file may need."""

import sys
from dataclasses import replace

import click

from warmwatch.links.address import Address
from warmwatch.links.asking.link import opener_of

CAUTION = """\
CAUTION. The signal file asks for the extended session of {units} (10 03): more than reading.
- Some units switch functions off in it, or note a fault. Use it only where the service information
  of the vehicle allows it, with the vehicle standing, selector in park, parking brake on.
- Nothing is written. The unit is sent back (10 01) at the end and as soon as the vehicle moves.
"""


def agreed(address: Address) -> Address:
    """Return the address, with extended=yes when somebody at the terminal agrees to it."""
    if not address.about_kind.transport or "extended" in address.options:
        return address
    targets = {
        signal.target
        for signal in opener_of(address).wanted.signals
        if signal.session and signal.target is not None
    }
    if not targets or not sys.stdin.isatty():
        return address
    units = ", ".join(f"{target:X}" for target in sorted(targets))
    click.echo(CAUTION.format(units=units), err=True)
    if not click.confirm("Use the extended session?", err=True):
        return address
    return replace(address, options={**address.options, "extended": "yes"})
