"""How a page was made: all it needs beside the recordings, so that it can be made again.

It is attached to the proof as `proof-page.json`. The same recordings, the same making and the same
typesetter give the same file, byte for byte.
"""

import hashlib
import json
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from warmwatch._version import __version__
from warmwatch.outputs.proof.visit import NOTHING_LATER, Later, later_from_mapping, later_to_mapping
from warmwatch.recording.seal.shop_log import Noted, noted_from_mapping, noted_to_mapping

NAME = "proof-page.json"
FORMAT = "warmwatch page 1"
ENGLISH = "en"
PAPERS = {"a4": "a4", "letter": "us-letter"}
_ROOMS = ("core", "recording", "words", "outputs/picture", "outputs/proof")


@dataclass(frozen=True, slots=True)
class Making:
    """`time` is ISO 8601 in UTC; `key` is a fingerprint, empty without one; `order` names the
    recordings; `noted` is what the shop's log says of them; `fonts` are the families;
    `typesetter` is as `typesetter()` gave it; `language` is the code of the catalogue.
    """

    paper: str
    time: str
    order: tuple[str, ...]
    key: str = ""
    key_name: str = ""
    later: Later = NOTHING_LATER
    noted: Noted | None = None
    fonts: tuple[str, ...] = ()
    typesetter: tuple[tuple[str, str], ...] = ()
    language: str = ENGLISH

    def text(self) -> str:
        """Return the file's text."""
        members = {
            "format": FORMAT,
            "paper": self.paper,
            "time": self.time,
            "recordings": list(self.order),
            "key": self.key,
            "key_name": self.key_name,
            "later": later_to_mapping(self.later),
            "log": None if self.noted is None else noted_to_mapping(self.noted),
            "fonts": list(self.fonts),
            "typesetter": dict(self.typesetter),
        }
        if self.language != ENGLISH:
            members["language"] = self.language
        return json.dumps(members, indent=1, ensure_ascii=False) + "\n"


def read_making(data: bytes) -> Making:
    """Return the making held in `data`; ValueError when it is none."""
    try:
        members: Any = json.loads(data.decode("utf-8"))
        if members["format"] != FORMAT or members["paper"] not in PAPERS:
            raise ValueError("it is of another format")
        return Making(
            paper=members["paper"],
            time=str(members["time"]),
            order=tuple(map(str, members["recordings"])),
            key=str(members["key"]),
            key_name=str(members["key_name"]),
            later=later_from_mapping(members["later"]),
            noted=None if members["log"] is None else noted_from_mapping(members["log"]),
            fonts=tuple(map(str, members["fonts"])),
            typesetter=tuple((str(k), str(v)) for k, v in members["typesetter"].items()),
            language=str(members.get("language", ENGLISH)),
        )
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"it is not complete ({error})") from None


@cache
def typesetter() -> tuple[tuple[str, str], ...]:
    """Return what decides how a page looks: the versions, and a digest over our own sources."""
    digest = hashlib.sha256()
    for room in _ROOMS:
        _take(digest, files("warmwatch").joinpath(*room.split("/")))
    return (
        ("warmwatch", __version__),
        ("source", digest.hexdigest()[:16]),
        ("typst", version("typst")),
        ("matplotlib", version("matplotlib")),
    )


def _take(digest: Any, folder: Traversable) -> None:
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.is_dir() and entry.name != "__pycache__":
            _take(digest, entry)
        elif entry.name.endswith((".py", ".typ", ".toml", ".json")):
            digest.update(entry.name.encode() + b"\0")
            digest.update(entry.read_bytes().replace(b"\r\n", b"\n"))
