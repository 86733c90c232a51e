"""The kinds of link: one record for each, and nothing about a kind anywhere else.

To add a kind, write its module and add its record to KINDS. Modules are named by path and imported
only when they are needed, so that `--help` stays fast and a kind may live in a room above this one.
"""

from dataclasses import dataclass

ENDINGS = (".log", ".asc", ".blf", ".trc", ".mf4")
"""How the names of logs of bus traffic end; each may be zipped (.gz)."""
_VEHICLE = "ignition on (engine only outdoors: exhaust gas)? plug seated? the vehicle's bitrate?"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of link.

    `module` offers `open_address(address, pace) -> Link`. `transport`, where the kind asks a
    vehicle, offers `opener_of(address) -> Opener` (links.asking.link): watching, trying and
    searching are then the same for all. `trial`, where there is one, offers
    `try_address(address)`; other links are tried by listening. `replay`: the readings were
    recorded earlier. `invented`: no real vehicle is there. `foreign_units`: a bare number in it has
    no unit of its own. `keeps`: what goes over its wire can be kept. `frames`: a module
    with `open_frames(address, seconds)`, the frames of a bus that is listened to. `endings`: a path
    that ends so needs no `KIND:` in front. `advice` is what to look at when nothing comes.
    """

    name: str
    about: str
    module: str
    advice: str
    transport: str = ""
    trial: str = ""
    replay: bool = False
    invented: bool = False
    foreign_units: bool = False
    keeps: bool = False
    frames: str = ""
    endings: tuple[str, ...] = ()


KINDS = {
    kind.name: kind
    for kind in (
        Kind(
            "csv",
            "a recording, or any CSV file",
            "warmwatch.links.csv",
            "is it a table with a column of times and one of temperatures?",
            replay=True,
            endings=(".csv",),
        ),
        Kind(
            "lines",
            "one number a line, or name=value pairs; `lines:-` is standard input",
            "warmwatch.links.lines",
            "is the program or the thermometer printing? another speed of the port (baud=)?",
            foreign_units=True,
        ),
        Kind(
            "demo",
            "an invented vehicle on a virtual bus",
            "warmwatch.demo.link",
            "try again",
            invented=True,
        ),
        Kind(
            "can",
            "request and answer over ISO-TP on a CAN interface",
            "warmwatch.links.asking.link",
            f"{_VEHICLE} does another program ask at the same time?",
            transport="warmwatch.links.can.port",
            keeps=True,
        ),
        Kind(
            "broadcast",
            "listens only: J1939, or signals of a database file",
            "warmwatch.links.broadcast",
            f"{_VEHICLE} a bus behind a gateway says nothing by itself: can: asks",
            trial="warmwatch.links.broadcast.trial",
            frames="warmwatch.links.broadcast.port",
            keeps=True,
        ),
        Kind(
            "log",
            "recorded bus traffic: broadcasts, and answers that another tester asked for",
            "warmwatch.links.log",
            "is it a log of the bus that carries the fluid's temperature? signals=FILE?",
            trial="warmwatch.links.log.trial",
            frames="warmwatch.links.log.port",
            replay=True,
            endings=(*ENDINGS, *(f"{ending}.gz" for ending in ENDINGS), ".bus.txt"),
        ),
        Kind(
            "serial",
            "an AT-command text adapter",
            "warmwatch.links.asking.link",
            f"{_VEHICLE} is the port's speed right (baud=)?",
            transport="warmwatch.links.serial.port",
            keeps=True,
        ),
        Kind(
            "doip",
            "request and answer on a vehicle's Ethernet (ISO 13400)",
            "warmwatch.links.asking.link",
            f"{_VEHICLE} is this computer in the vehicle's network?",
            transport="warmwatch.links.doip.port",
        ),
    )
}
