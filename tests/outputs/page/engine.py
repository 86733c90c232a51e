"""Runs the page's pure modules in a JavaScript engine without a browser (V8, by mini-racer).

They are put together as for the phone; in place of the drawing library a function keeps what it is
given, so that a view is a tree to look at.
"""

import json
from functools import cache
from typing import Any

from py_mini_racer import MiniRacer

from warmwatch.outputs.page.files import MODULES, bundle, static_files

_ORDER = MODULES[: MODULES.index("sound.js")]
"""The modules without sound, keeping awake and the browser's own events."""
_STUB = """
const seen = (child) => child !== null && child !== false && child !== undefined;
export const h = (tag, props, ...children) =>
  ({tag, props: props ?? {}, children: children.flat(Infinity).filter(seen)});
"""


def _module(name: str) -> str:
    if name == "preact.js":
        return _STUB
    return static_files()[f"/{name}"].content.decode("utf-8")


_DRIVER = """
let model = null;
const begin = (now, more) => { model = {...modules["model.js"].start(now), ...more}; };
const happen = (message, now) => {
  const [next, effects] = modules["model.js"].step(model, message, now);
  model = next;
  return JSON.stringify(effects.filter((effect) => effect[0] !== "repeat"));
};
"""


@cache
def engine() -> MiniRacer:
    """Return the engine with all modules; one for the whole run."""
    found = MiniRacer()
    found.eval(bundle(_ORDER, _module) + _DRIVER)
    return found


def value(expression: str) -> Any:
    """Return the value of an expression, by way of JSON."""
    text = engine().eval(f"JSON.stringify({expression}) ?? 'null'")
    return json.loads(str(text))


class PageModel:
    """The model of one page, with a clock of its own in seconds."""

    def __init__(self, right: str = "mark", **more: object) -> None:
        self.now_s = 1000.0
        engine().eval(f"begin({self._now()}, {json.dumps({'right': right, **more})})")

    def _now(self) -> str:
        return json.dumps({"steady": self.now_s * 1000, "wall": self.now_s * 1000})

    def happen(self, kind: str, later_s: float = 0.0, **about: object) -> list[list[Any]]:
        """Let something happen; return what is to be done, but for the repeats."""
        self.now_s += later_s
        message = json.dumps({"kind": kind, **about})
        return list(json.loads(str(engine().eval(f"happen({message}, {self._now()})"))))

    def state(self, later_s: float = 0.0, lag_s: float = 0.01, **change: object) -> list[list[Any]]:
        """Let a state come that was sent `lag_s` ago."""
        sent_ms = (self.now_s + later_s - lag_s) * 1000
        body = {**STATE, "t": sent_ms, **change}
        return self.happen("state", later_s, body=body)

    def tick(self, seconds: float) -> list[list[Any]]:
        """Let time go on as the page's own clock tells it, four times a second."""
        effects: list[list[Any]] = []
        for _ in range(round(seconds * 4)):
            effects += self.happen("tick", 0.25)
        return effects

    def get(self, path: str) -> Any:
        """Return a part of the model."""
        return value(f"model.{path}")

    def shown(self, path: str) -> Any:
        """Return a part of the state as it may be claimed."""
        return value(f'modules["shown.js"].shownOf(model).{path}')

    def attribute(self, name: str) -> str:
        """Return what the document is told of the state."""
        return str(value(f'modules["shown.js"].attributes(model).{name}'))

    def tree(self) -> dict[str, Any]:
        """Return what is drawn, as a tree."""
        return dict(value('modules["view.js"].view(model, () => {})'))

    def texts(self) -> list[str]:
        """Return every text that is drawn."""
        return [node for node in walk(self.tree()) if isinstance(node, str)]

    def buttons(self) -> list[str]:
        """Return the marks' places in order, `""` for one that is left empty."""
        marks = find(self.tree(), "marks")
        return [child["props"].get("data-mark", "") for child in marks["children"]]


STATE: dict[str, object] = {
    "t": 0, "stalled": False, "state": "inside", "word": "IN THE BAND", "act": "Check now.",
    "fit": True, "figure": "85", "unit": "°C", "band": "80 to 90 °C", "soon": "12 min",
    "time": "about 12 min", "rate": "", "place": 0.5, "facts": [], "conditions": [],
    "link": "Last reading 0.4 s ago", "link_ok": True, "recording": "Recorded: x.csv",
    "recording_ok": True, "unheard": False, "happened": [], "vehicle": "van", "clock": "00:05",
    "plug_out": False, "marks": {}, "log": [], "last": None, "checks": [], "outlook": [],
    "step": None, "clash": "", "cues": [], "repeats": [],
}  # fmt: skip


def walk(node: Any) -> list[Any]:
    """Return a tree's nodes and texts, in order."""
    if not isinstance(node, dict):
        return [str(node)]
    return [node, *(each for child in node["children"] for each in walk(child))]


def find(tree: dict[str, Any], identity: str) -> dict[str, Any]:
    """Return the node with an id."""
    for node in walk(tree):
        if isinstance(node, dict) and node["props"].get("id") == identity:
            return node
    raise AssertionError(f"no {identity}")
