"""The time zone that the computer was set to when a recording began, kept beside it.

So times can be shown as the clock on the wall had them, the same everywhere and for ever.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

KEY = "warmwatch:zone"
MOST_S = 26 * 3600


@dataclass(frozen=True, slots=True)
class Zone:
    """`offset_s` is how far local time is ahead of UTC; `name` may be empty."""

    offset_s: int = 0
    name: str = "UTC"

    def text(self, utc_s: float) -> str:
        """Return the wall time as `2026-05-28 22:26 CEST (UTC+02:00)`."""
        moment = self._moment(utc_s)
        told = moment.strftime("%Y-%m-%d %H:%M")
        if not self.offset_s and self.name in ("", "UTC"):
            return f"{told} UTC"
        named = f" {self.name}" if self.name else ""
        return f"{told}{named} ({moment.tzname()})"

    def clock(self, utc_s: float) -> str:
        """Return the time of day as `22:26:40`."""
        return self._moment(utc_s).strftime("%H:%M:%S")

    def _moment(self, utc_s: float) -> datetime:
        return datetime.fromtimestamp(utc_s, tz=timezone(timedelta(seconds=self.offset_s)))


ZONELESS = Zone()
"""What is taken where nothing was kept."""


def local_zone(utc_s: float) -> Zone:
    """Return this computer's zone at that moment, without the long names that some systems give."""
    moment = datetime.fromtimestamp(utc_s, tz=UTC).astimezone()
    name = moment.tzname() or ""
    offset = moment.utcoffset() or timedelta()
    plain = name.isascii() and name.isalpha() and len(name) <= 5
    return Zone(round(offset.total_seconds()), name if plain else "")


def zone_to_mapping(zone: Zone) -> dict[str, Any]:
    """Return the zone as JSON values."""
    return {"offset_s": zone.offset_s, "name": zone.name}


def sidecar_zone(document: Mapping[str, Any]) -> Zone:
    """Return the zone that a sidecar keeps, UTC where it keeps none that can be used."""
    kept = document.get(KEY)
    if not isinstance(kept, Mapping):
        return ZONELESS
    offset_s, name = kept.get("offset_s"), kept.get("name")
    if not isinstance(offset_s, int) or abs(offset_s) > MOST_S or not isinstance(name, str):
        return ZONELESS
    return Zone(offset_s, name[:8])
