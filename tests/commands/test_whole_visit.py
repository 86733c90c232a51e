"""A whole invented visit in °F and US quarts, typed at a terminal, told alike by every output.

Two recordings: drained, filled and driven; then checked, topped up and checked again. Three wrong
marks are taken back on the way. No figure was measured.
"""

import contextlib
import io
import json
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.guide.typing_at import Terminal
from tests.outputs.fake_programs import FakePrograms
from warmwatch.commands.main import run

PACE = 240.0
JOB = """
band = "176:194"
band_source = "invented"
drain_band = "113:140"
vehicle = "invented van"
unit = "F"
[fluid]
capacity = "9 qt"
"""
SPAN = r"at ([\d.]+)(?: to ([\d.]+))? °F,\s+inside"
VERDICT = re.compile(r"(\S) Level set with the fluid " + SPAN)


def heat(*parts: tuple[int, float, float, int, int]) -> Iterator[str]:
    """Yield rows from (seconds, from °F, to °F, engine speed, road speed)."""
    yield "elapsed_s,fluid_c,engine_rpm,speed_kmh"
    t = 0
    for seconds, low, high, rpm, kmh in parts:
        for n in range(seconds):
            yield f"{t},{low + (high - low) * n / seconds:.1f},{rpm},{kmh}"
            t += 1


@dataclass
class Visited:
    """What was seen and heard, and the recordings, oldest first."""

    screens: list[str]
    spoken: list[str]
    recordings: list[Path]
    made: str
    paper: str


class Mechanic:
    """Types marks at the terminal of a watch and waits until each was answered."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal = terminal

    def key(self, key: str, answered: str) -> None:
        self.terminal.text = ""
        self.terminal.press(key)
        self.terminal.until(answered)

    def note(self, text: str, answered: str) -> None:
        self.terminal.text = ""
        self.terminal.press(f"n{text}\r")
        self.terminal.until(answered)

    def end(self) -> str:
        self.terminal.press("qq")
        assert self.terminal.ended() == 0
        return self.terminal.whole


def drain(mechanic: Mechanic) -> None:
    mechanic.terminal.until("Engine off. Drain")
    mechanic.key("o", "Mark plug out")
    mechanic.note("drained 45 qt 116", "More than all the fluid")
    mechanic.key("u", "Taken back: drained")
    mechanic.note("drained 4 1/2 qt 116", r"Put in first: 4\.41 qt at 68 °F")
    mechanic.key("i", "Mark plug in")
    mechanic.note("filled 4.4 qt 68", r"filled in 4\.40 qt at 68 °F")
    mechanic.terminal.until("Warm up to 176 to 194 °F")


def check(mechanic: Mechanic) -> None:
    mechanic.key("k", "Mark in park")
    mechanic.key("c", "Mark selector cycled")
    mechanic.key("v", "Tilt")
    mechanic.terminal.press("0.3 lengthwise 0.4 crosswise\r")
    mechanic.terminal.until("take the plug out")
    mechanic.key("o", "mark what runs out")
    mechanic.key("s", "let it run")
    mechanic.key("u", "Taken back: stream")
    mechanic.key("x", "No drip yet")
    mechanic.key("i", "Top up through the plug hole")
    mechanic.key("l", "The last mark at the plug was no drip")
    mechanic.key("u", "Taken back: level set")
    mechanic.note("topped-up 8 oz 68", r"topped up 8\.0 oz at 68 °F")
    mechanic.key("o", "mark what runs out")
    mechanic.key("d", "A drip inside the band")
    mechanic.key("i", "Only a drip inside the band")
    mechanic.key("l", "Done. Make the proof")


@pytest.fixture(scope="module")
def visited(tmp_path_factory: pytest.TempPathFactory) -> Visited:
    folder = tmp_path_factory.mktemp("visit")
    programs = FakePrograms(folder)
    programs.add("espeak-ng")
    programs.add("aplay")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    parts = {
        "one.csv": [
            (60, 104.0, 115.0, 750, 0),
            (900, 116.0, 113.5, 0, 0),
            (200, 113.5, 125.0, 1800, 45),
            (3600, 125.0, 126.0, 750, 0),
        ],
        "two.csv": [(150, 170.0, 180.0, 720, 0), (9000, 180.0, 193.0, 720, 0)],
    }
    env = {"PATH": str(programs.folder), "WARMWATCH_HOME": str(folder / "home")}
    screens = []
    for (name, heats), act, more in zip(
        parts.items(), (drain, check), ([], ["--visit", "again"]), strict=True
    ):
        (folder / name).write_text("\n".join(heat(*heats)) + "\n", encoding="utf-8")
        wanted = [
            "watch",
            f"csv:{name}?unit=F",
            "--job",
            "job.toml",
            "--record",
            "kept",
            "--speak",
            *more,
        ]
        with Terminal("warmwatch", *wanted, f"--pace={PACE:g}", cwd=folder, env=env) as terminal:
            act(mechanic := Mechanic(terminal))
            screens.append(mechanic.end())
    spoken = [line.partition(" 150 ")[2] for line in programs.lines("start espeak-ng")]
    spoken = [line.removeprefix("-w words.wav ") for line in spoken]
    recordings = sorted((folder / "kept").glob("*.csv"))
    made = said("proof", *recordings, "-o", folder / "proof.pdf")
    ran = subprocess.run(["pdftotext", "-layout", folder / "proof.pdf", "-"], capture_output=True)
    return Visited(screens, spoken, recordings, made, ran.stdout.decode())


def said(*arguments: object) -> str:
    """Return what a command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert run([str(argument) for argument in arguments]) == 0
    return out.getvalue()


def figures(text: str) -> tuple[str, str, str]:
    """Return sign and the two temperatures of the one verdict in a text."""
    found = set(VERDICT.findall(" ".join(text.split())))
    assert len(found) == 1, text
    sign, low, high = found.pop()
    return sign, low, high


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_every_output_tells_the_same_of_the_visit(visited: Visited) -> None:
    """Verdict, sign, temperatures and amounts agree: screen, plain, JSON, jobs, proof, pages."""
    last = visited.recordings[1]
    told = figures(visited.screens[1])
    assert told[0] == "✔"
    replayed = said("watch", last, "--plain", "--no-record")
    for other in (replayed, said("jobs", last.parent), visited.made):
        assert figures(other) == told
    span = re.search(SPAN, visited.paper)
    assert span is not None
    assert (span[1], span[2] or "") == told[1:]
    lines = said("watch", last, "--json", "--no-record").splitlines()
    summary = json.loads(lines[-1])
    assert (summary["outcome"], summary["sign"]) == ("set-inside", "good")
    ends = [round(summary["check"][f"{end}_c"] * 1.8 + 32.0, 1) for end in ("min", "max")]
    assert ends == [float(told[1]), float(told[2] or told[1])]


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_what_was_taken_back_counts_nowhere(visited: Visited) -> None:
    """Three slips stand on the proof as taken back; ledger, balance and verdict know none."""
    paper = " ".join(visited.paper.split())
    marked = paper[paper.index("What the mechanic marked") :]
    assert marked.count("(taken back)") == 3
    assert marked.count("take back") == 3
    ledger = paper[paper.index("Fluid that came out") : paper.index("What the mechanic marked")]
    assert not re.search(r"\b45(\.\d+)? qt", ledger)
    for amount in (r"drained 4\.50 qt", r"filled in 4\.40 qt", r"topped up 8\.0 oz"):
        assert re.search(amount, ledger)
    assert "What was drained takes up 4.41 qt at 68 °F." in ledger


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_the_ear_hears_what_the_eye_sees(visited: Visited) -> None:
    """Steps and answers are spoken as they stand on the screen, and no °C is said or shown."""
    whole = " ".join(visited.screens)
    shown = re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", whole)
    assert visited.spoken
    for sentence in {s for s in visited.spoken if not re.search("degrees|about", s, re.I)}:
        assert sentence.split(".")[0].lower() in shown.lower(), sentence
    for text in (shown, *visited.spoken, said("jobs", visited.recordings[0].parent)):
        assert not re.search(r"\d °C", text)
    assert not any("Drain" in sentence for sentence in visited.spoken[len(visited.spoken) // 2 :])
    assert "Drain, and mark" not in visited.screens[1]
