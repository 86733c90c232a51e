"""The page's own files: few and small on the wire, so that a phone far away waits once."""

import gzip
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.resources import files

from warmwatch.words.catalogue import group, language, phrase

_KINDS = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "html": "text/html",
    "mp4": "video/mp4",
    "webm": "video/webm",
}
MODULES = (
    "preact.js",
    "texts.js",
    "pad.js",
    "model.js",
    "curve.js",
    "shown.js",
    "sheets.js",
    "visit.js",
    "view.js",
    "sound.js",
    "awake.js",
    "page.js",
)
"""Each after those that it imports."""
_OTHERS = ("page.css", "icon.svg", "tick.js", "awake.mp4", "awake.webm")
_IMPORT = re.compile(r'^import (\{[^}]*\}) from "/([\w.]+)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:function|const|class) (\w+))", re.MULTILINE)
_EXPORT_LIST = re.compile(r"export\{([^}]*)\};?")


@dataclass(frozen=True, slots=True)
class Served:
    """One file: as it is, and packed where that is smaller. It holds no secret (no BREACH)."""

    content: bytes
    kind: str
    packed: bytes | None


def static_files() -> dict[str, Served]:
    """Return the files of the page by their path; `/all.js` is all its modules in one."""
    served = {f"/{name}": _served(name, _read(name)) for name in (*MODULES, *_OTHERS)}
    whole = bundle(MODULES, lambda name: _read(name).decode("utf-8"))
    served["/all.js"] = _served("all.js", whole.encode("utf-8"))
    page = _served("page.html", _read("page.html"))
    # Browsers ask for the icon by themselves.
    return {"/": page, "/favicon.ico": served["/icon.svg"], **served}


def bundle(names: Iterable[str], read: Callable[[str], str]) -> str:
    """Return modules as one script, each in a function of its own, in the order given.

    Understood are imports in braces, and exports before `function`, `const` and `class` or as a
    list at the end: what our modules and the drawing library have.
    """
    parts = ["const modules = {};"]
    for name in names:
        text = _IMPORT.sub(_taken, read(name))
        exported = ", ".join(_EXPORT.findall(text))
        text = _EXPORT_LIST.sub(_given, _EXPORT.sub("", text))
        text = text if "\nreturn {" in text else f"{text}\nreturn {{{exported}}};"
        parts.append(f'modules["{name}"] = (() => {{\n{text}\n}})();')
    return "\n".join(parts)


def _taken(found: "re.Match[str]") -> str:
    return f'const {found[1].replace(" as ", ": ")} = modules["{found[2]}"];\n'


def _given(found: "re.Match[str]") -> str:
    pairs = (part.split(" as ") for part in found[1].split(","))
    return f"\nreturn {{{', '.join(f'{pair[-1]}: {pair[0]}' for pair in pairs)}}};"


def _read(name: str) -> bytes:
    content = (files("warmwatch.outputs.page") / "static" / name).read_bytes()
    if name == "texts.js":
        own = json.dumps(_texts(), ensure_ascii=False)
        return content.replace(b"T = {}", f"T = {own}".encode())
    if name == "page.html":
        for code, text in (("language", language()), ("no-script", phrase("phone.no-script"))):
            content = content.replace(f"{{{code}}}".encode(), text.encode())
    return content


def _texts() -> dict[str, str]:
    """Return the texts that the page's own modules show, by names as JavaScript has them."""
    marks = {f"mark-{code}": text for code, text in group("mark").items()}
    texts = {**group("phone"), **marks, "language": language()}
    return {code.replace("-", "_"): text for code, text in texts.items()}


def _served(name: str, content: bytes) -> Served:
    kind = _KINDS[name.rpartition(".")[2]]
    packed = None if kind.startswith("video/") else gzip.compress(content, mtime=0)
    return Served(content, kind, packed)
