"""`demo:` an invented vehicle, read by the `can:` code over an in-process bus.

Options, all of which may be left out: `method=` (see vehicle.scenario.METHODS), `seed=`,
`minutes=` at most, `band=LOW:HIGH` in degC (where the default scenario does its check), `start=`
and `ambient=` in degC, `poll=SECONDS`, `pace=` simulated seconds for each real one, `marks=no`, and
what shall go wrong: `silence=AT:FOR` and `misread=AT:FOR` in seconds.
"""

import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass

from warmwatch.core.reading import Mark, Reading
from warmwatch.demo.car import Car, Upset, UpsetKind, invented_signals
from warmwatch.demo.scenario import LONGEST_MIN, VISIT, Scenario, make_scenario
from warmwatch.demo.simulation import Outline, outline
from warmwatch.errors import UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Wanted
from warmwatch.links.asking.link import link_of
from warmwatch.links.asking.units import NORMAL
from warmwatch.links.base import WAIT_S, LinkItem
from warmwatch.links.can.port import CanOpener, CanSettings
from warmwatch.links.live import LiveLink

DEFAULT_PACE = 110.0
"""Simulated seconds for each real one: the default scenario then takes about 20 s."""

_ANSWER_S = 0.2  # the invented units answer within milliseconds, or not at all

_OPTIONS = frozenset(
    {"method", "seed", "minutes", "band", "start", "ambient", "poll", "pace", "marks"}
    | {kind.value for kind in UpsetKind}
)
_NOTE = "An invented vehicle: no number in this recording was measured."


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """What an address asks for."""

    scenario: Scenario
    pace: float = DEFAULT_PACE
    poll_s: float = 1.0
    longest_s: float = LONGEST_MIN * 60.0
    marks: bool = True
    upsets: tuple[Upset, ...] = ()


class DemoLink:
    """A LiveLink with the `can:` port on the invented vehicle's bus. It ends with the scenario.

    `replay` is true because the readings carry simulated time, as recorded ones do. `progress` is
    how far the scenario is, 0 to 1.
    """

    replay = True

    def __init__(self, settings: DemoSettings, address: str, start_utc_s: float) -> None:
        self.poll_s: float | None = settings.poll_s
        self._settings = settings
        self._address = address
        self._start_utc_s = start_utc_s
        self._car = Car(
            settings.scenario, settings.pace, start_utc_s, settings.upsets, settings.poll_s
        )
        self._live = self._live_link()
        self._outline: Outline | None = None

    @property
    def progress(self) -> float:
        """How much of the scenario is done, 0 to 1."""
        return min(1.0, self.elapsed_s() / max(1.0, self.outline.seconds))

    @property
    def outline(self) -> Outline:
        """What the scenario will come to; worked out when first asked for."""
        if self._outline is None:
            self._outline = outline(self._settings.scenario, self._settings.longest_s)
        return self._outline

    def describe(self) -> Mapping[str, object]:
        scenario = self._settings.scenario
        return {
            "address": self._address,
            "invented": _NOTE,
            "method": scenario.method,
            "seed": scenario.seed,
            "signals": [asdict(signal) for signal in invented_signals()],
        }

    def elapsed_s(self) -> float:
        return self._car.clock.elapsed_s()

    def items(self) -> Iterator[LinkItem]:
        end_s = self.outline.seconds
        marks = self._planned_marks()
        self._car.start()
        for item in self._live.items():
            if isinstance(item, Reading):
                if item.elapsed_s > end_s:
                    return
                while marks and marks[0].elapsed_s <= item.elapsed_s:
                    yield marks.pop(0)
            yield item
            self._car.gate.taken(item.elapsed_s if isinstance(item, Reading) else self.elapsed_s())

    def close(self) -> None:
        self._car.close()
        self._live.close()

    def _planned_marks(self) -> list[Mark]:
        if not self._settings.marks:
            return []
        return [
            Mark(at_s, planned.name, planned.note, self._start_utc_s + at_s)
            for at_s, planned in self.outline.marks
        ]

    def _live_link(self) -> LiveLink:
        settings = CanSettings(
            channel=self._car.channel,
            options={"interface": "virtual"},
            wanted=Wanted(invented_signals().signals, self._settings.poll_s),
            answer_s=_ANSWER_S,
            addressings=(NORMAL,),
            pause_step_s=WAIT_S * self._settings.pace,
        )
        return link_of(CanOpener(settings, self._car.clock), {})


def open_address(address: Address, pace: float | None) -> DemoLink:
    """Return the link of a `demo:` address.

    `pace` is simulated seconds for each real one, None for DEFAULT_PACE; the address's own `pace=`
    goes before it. Raises UsageError.
    """
    return DemoLink(settings_of(address, pace), str(address), time.time())


def settings_of(address: Address, pace: float | None = None) -> DemoSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    if address.rest:
        raise UsageError(f"demo: takes options only: write demo:?method={address.rest}.")
    for key in options:
        if key not in _OPTIONS:
            raise UsageError(
                f"demo: has no option {key!r}; known are {', '.join(sorted(_OPTIONS))}."
            )
    minutes = _number(options, "minutes", 0.0, LONGEST_MIN)
    scenario = make_scenario(
        options.get("method", VISIT),
        seed=_seed(options),
        minutes=minutes,
        band_c=_pair(options, "band", (80.0, 90.0)),
        start_c=_number(options, "start", -40.0, 120.0),
        ambient_c=_number(options, "ambient", -40.0, 60.0),
    )
    return DemoSettings(
        scenario,
        pace=_number(options, "pace", 0.0, 1e6) or pace or DEFAULT_PACE,
        poll_s=_number(options, "poll", 0.0, 60.0) or 1.0,
        longest_s=60.0 * (minutes or LONGEST_MIN),
        marks=options.get("marks", "yes") != "no",
        upsets=_upsets(options),
    )


def _number(options: Mapping[str, str], key: str, low: float, high: float) -> float | None:
    """Return a number above `low` and up to `high`, None where it is not given."""
    if key not in options:
        return None
    try:
        number = float(options[key])
    except ValueError:
        number = float("nan")
    if not low < number <= high:
        raise UsageError(
            f"demo: {key}={options[key]} is not a number above {low:g}, up to {high:g}."
        )
    return number


def _seed(options: Mapping[str, str]) -> int:
    try:
        return int(options.get("seed", "1"))
    except ValueError:
        raise UsageError(f"demo: seed={options['seed']} is not a whole number.") from None


def _pair(
    options: Mapping[str, str], key: str, default: tuple[float, float]
) -> tuple[float, float]:
    text = options.get(key)
    if text is None:
        return default
    low, _, high = text.partition(":")
    try:
        pair = float(low), float(high)
    except ValueError:
        pair = 0.0, 0.0
    if key == "band" and not (-30.0 <= pair[0] < pair[1] <= 120.0):
        raise UsageError(f"demo: band={text} is no LOW:HIGH in degC, such as 80:90.")
    return pair


def _upsets(options: Mapping[str, str]) -> tuple[Upset, ...]:
    upsets = []
    for kind in UpsetKind:
        if kind.value not in options:
            continue
        at_s, for_s = _pair(options, kind.value, (0.0, 0.0))
        if not (0.0 <= at_s < 1e6 and 0.0 < for_s < 1e6):
            text = options[kind.value]
            raise UsageError(f"demo: {kind}={text} is no AT:FOR in seconds, such as 600:20.")
        upsets.append(Upset(kind, at_s, for_s))
    return tuple(upsets)
