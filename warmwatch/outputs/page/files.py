"""The page's own files, small on the wire."""

import gzip
from dataclasses import dataclass
from importlib.resources import files

_KINDS = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "html": "text/html",
    "mp4": "video/mp4",
    "webm": "video/webm",
}
_NAMES = (
    "page.css",
    "icon.svg",
    "page.js",
    "model.js",
    "view.js",
    "sheets.js",
    "visit.js",
    "pad.js",
    "curve.js",
    "sound.js",
    "awake.js",
    "tick.js",
    "preact.js",
    "awake.mp4",
    "awake.webm",
)


@dataclass(frozen=True, slots=True)
class Served:
    """One file: as it is, and packed where that is smaller. It holds no secret (no BREACH)."""

    content: bytes
    kind: str
    packed: bytes | None


def static_files() -> dict[str, Served]:
    """Return the files of the page by their path."""
    served = {f"/{name}": _read(name) for name in _NAMES}
    # Browsers ask for the icon by themselves.
    return {"/": _read("page.html"), "/favicon.ico": served["/icon.svg"], **served}


def _read(name: str) -> Served:
    content = (files("warmwatch.outputs.page") / "static" / name).read_bytes()
    kind = _KINDS[name.rpartition(".")[2]]
    packed = None if kind.startswith("video/") else gzip.compress(content, mtime=0)
    return Served(content, kind, packed)
