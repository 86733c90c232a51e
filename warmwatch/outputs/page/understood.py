"""What an amount or a tilt typed on the phone means, in words, before it is noted."""

from warmwatch.core.level.amounts import is_amount, is_too_large, mark_entry
from warmwatch.core.level.statements import measured_tilts
from warmwatch.core.reading import Mark, MarkName
from warmwatch.words.amounts import cold_text
from warmwatch.words.catalogue import phrase
from warmwatch.words.view import View

STEEP_DEG = 15.0
"""No vehicle on a lift or a pit stands steeper (ours, no source): a slip of the finger."""


def understood(name: MarkName, note: str, view: View) -> str:
    """Return what a mark with this note would say; empty when nothing can be made of it."""
    mark = Mark(view.now_s, name, note)
    if is_amount(mark):
        return _amount(mark, view)
    return _tilt(note, view) if name is MarkName.VEHICLE_LEVEL else ""


def _amount(mark: Mark, view: View) -> str:
    snapshot, unit = view.snapshot, view.job.unit
    entry = mark_entry(mark, None if snapshot.blind else snapshot.fluid_c, unit)
    if entry is None:
        return ""
    fluid = view.job.fluid
    told = cold_text(entry, fluid.density_kg_m3, unit)
    if is_too_large(entry.litres, fluid.capacity_l):
        return phrase("amount.too-large", told=told)
    return told


def _tilt(note: str, view: View) -> str:
    tilts, limit_deg = measured_tilts(note), view.job.check.tilt_limit_deg
    if not tilts or max(tilts.values()) > STEEP_DEG:
        return ""
    told = ", ".join(phrase(f"axis.{axis}", deg=f"{deg:g}°") for axis, deg in tilts.items())
    fits = "within" if max(tilts.values()) <= limit_deg else "beyond"
    return phrase(f"amount.tilt-{fits}", tilts=told, limit=f"{limit_deg:g}°")
