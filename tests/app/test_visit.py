"""The visit on the laptop, without a page: what orders change, and what they cannot."""

import errno
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.outputs.test_proof_visit import a_visit
from tests.recording.invented import check_items, record
from warmwatch.app.guide.world import Answered, Socket
from warmwatch.app.signing import Seal
from warmwatch.app.visit.desk import Desk, Stage
from warmwatch.app.visit.papers import Papers, keep
from warmwatch.app.visit.shop import Adapter, Choices, Vehicle, look
from warmwatch.app.visit.trial import _line
from warmwatch.book.book import Book
from warmwatch.book.change import set_texts
from warmwatch.book.place import book_path
from warmwatch.core.reading import Reading
from warmwatch.errors import BookError
from warmwatch.links.trying.steps import FLUID, Step, StepState
from warmwatch.outputs.page.orders import Order
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.recording.seal.key import make_key


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))


def order(name: str, seen: int | None = None, keep: bool | None = None, **texts: str) -> Order:
    return Order(name, texts, {} if keep is None else {"keep": keep}, seen)


def a_desk() -> Desk:
    """A desk with a vehicle of the book and the invented one to try."""
    set_texts("grey van", {"band": "80:90", "band_source": "invented", "link": "demo:"})
    desk = Desk(scan=list)
    desk.look()
    return desk


def ready() -> Desk:
    desk = a_desk()
    desk.take(order("vehicle", label="grey van"))
    return desk


def run_message(desk: Desk) -> dict[str, object]:
    return desk.messages()[Right.RUN]


def test_a_known_vehicle_brings_its_adapter() -> None:
    """Choosing a vehicle of the book chooses its link, too; then the watch may start."""
    desk = a_desk()
    assert run_message(desk)["missing"] == "Choose the vehicle."
    desk.take(order("vehicle", label="grey van"))
    shown = run_message(desk)
    assert shown["ready"] is True
    assert shown["vehicle"] == {
        "label": "grey van",
        "band": "80 to 90 °C",
        "source": "invented",
    }
    job, address = desk.job()
    assert (job.band.low_c, job.band.high_c, job.band_source) == (80.0, 90.0, "invented")
    assert address.kind == "demo"


def test_start_pressed_twice_starts_once() -> None:
    """The second press is meant for a stage that has passed, so it changes nothing."""
    desk = ready()
    number = desk.number
    desk.take(order("start", number))
    assert desk.start_asked
    desk.go(Stage.OPENING)
    desk.go(Stage.WATCH)
    desk.take(order("start", number))
    assert not desk.start_asked
    assert desk.stage is Stage.WATCH


def test_what_was_shown_before_orders_nothing() -> None:
    """A press on a page that shows an older stage has no effect, from whichever phone."""
    desk = ready()
    desk.go(Stage.DONE)
    seen = desk.number
    desk.take(order("next", seen))
    assert desk.stage is Stage.PREPARE
    desk.take(order("proof", seen))
    desk.take(order("stop", seen))
    assert not desk.stop_asked
    assert desk.papers is None


@pytest.mark.parametrize(
    ("texts", "problem"),
    [
        ({"label": "", "band": "80C:90C"}, "name"),
        ({"label": "van", "band": ""}, "band"),
        ({"label": "van", "band": "90C:80C"}, "90"),
        ({"label": "van", "band": "80C:900C"}, "hotter"),
        ({"label": "van", "band": "../../etc/passwd"}, "two temperatures"),
        ({"label": "a" * 300, "band": "80C:90C"}, "name"),
    ],
)
@pytest.mark.parametrize("keep", [True, False])
def test_a_wrong_new_vehicle_is_told(texts: dict[str, str], problem: str, keep: bool) -> None:
    """What cannot be meant is told in a sentence, chooses nothing, and is not written."""
    desk = Desk(scan=list)
    desk.look()
    desk.take(order("new", None, keep, **texts))
    assert problem in desk.problem
    assert desk.vehicle is None
    assert not book_path().exists() or "van" not in book_path().read_text(encoding="utf-8")


def test_a_new_vehicle_may_be_kept() -> None:
    """A vehicle typed on the phone is in the book afterwards, where that was wished."""
    desk = Desk(scan=list)
    desk.look()
    told = {"label": "  red  car ", "band": "176F:194F", "source": "invented"}
    desk.take(order("new", None, True, **told))
    assert desk.problem == ""
    assert desk.vehicle is not None
    assert desk.vehicle.label == "red car"
    assert [each.label for each in look().vehicles] == ["red car"]
    desk.take(order("new", None, False, label="blue car", band="80C:90C", source=""))
    assert [each.label for each in desk.choices.vehicles] == ["red car", "blue car"]
    assert [each.label for each in look().vehicles] == ["red car"]


def test_no_address_comes_from_the_page() -> None:
    """An adapter is chosen by what the laptop offered; a path or an address chooses nothing."""
    desk = a_desk()
    for wrong in ("demo:", "csv:/etc/passwd", "/etc/passwd", "a99", ""):
        desk.take(order("adapter", id=wrong))
        assert desk.adapter is None
    desk.take(order("vehicle", label="csv:/etc/passwd"))
    assert desk.vehicle is None
    shown = str(desk.messages())
    assert "demo:" not in shown
    assert str(book_path()) not in shown


def test_only_who_runs_sees_the_book() -> None:
    """Pages that watch or mark are told the stage, and nothing of vehicles and adapters."""
    desk = ready()
    for right in (Right.WATCH, Right.MARK):
        assert desk.messages()[right] == {"stage": "prepare", "n": desk.number}
    desk.papers = Papers((), "a4", lambda made: "/proof/x")
    desk.go(Stage.DONE)
    assert "proof" in desk.messages()[Right.RUN]
    assert "proof" not in desk.messages()[Right.WATCH]
    assert "verdict" in desk.messages()[Right.WATCH]


def test_a_broken_book_is_told() -> None:
    """A book that cannot be read is a sentence on the page, and the page goes on."""
    book_path().parent.mkdir(parents=True, exist_ok=True)
    book_path().write_text("[vehicles", encoding="utf-8")
    desk = Desk(scan=list)
    desk.look()
    assert "cannot be read" in str(run_message(desk)["problem"])


def test_a_vehicle_without_a_band_cannot_start() -> None:
    """No band is ever ours: without one there is no watch."""
    set_texts("bare", {"unit": "C"})
    desk = Desk(scan=list)
    desk.look()
    desk.take(order("vehicle", label="bare"))
    desk.take(order("start"))
    assert not desk.start_asked
    assert "no band" in str(run_message(desk)["missing"])


def test_a_trial_is_shown_live_and_once() -> None:
    """A second press while a link is tried starts no second trial, and no watch begins."""
    calls: list[int] = []

    def choices(sockets: Sequence[Socket]) -> Choices:
        calls.append(1)
        book = Book(book_path())
        adapter = Adapter("a0", "missing", "", "csv:missing.csv")
        return Choices((Vehicle("van", "80 to 90 °C"),), (adapter,), book=book)

    desk = Desk(choices, list)
    desk.look()
    desk.take(order("adapter", id="a0"))
    desk.take(order("try"))
    first = desk.trial
    assert first is not None
    until(lambda: not first.running)
    shown = run_message(desk)["trial"]
    assert isinstance(shown, dict)
    assert shown["state"] == "failed"
    desk.take(order("try"))
    assert desk.trial is not first


def until(holds: Callable[[], bool], limit_s: float = 20.0) -> None:
    deadline = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_without_a_recording_there_is_no_proof() -> None:
    """Where nothing was recorded the page says so, and making a proof does nothing."""
    papers = Papers((), "a4", lambda made: "/proof/x")
    papers.make()
    shown = papers.message()
    assert shown["recorded"] is False
    assert shown["proof"] == {"state": "none", "text": "", "url": "", "name": ""}


def test_a_full_disk_leaves_the_proof_on_the_phone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the proof cannot be kept on the laptop it says so; no half file stays."""

    def full(self: Path, data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    told = keep([tmp_path / "r.csv"], b"%PDF")
    assert "No space left" in told
    assert "save it on this phone" in told
    assert [path.name for path in tmp_path.iterdir() if path.suffix != ""] == []


def test_another_file_is_left_alone(tmp_path: Path) -> None:
    """A PDF of that name that is no proof of this recording is not written over."""
    (tmp_path / "r.csv").write_text("x", encoding="utf-8")
    (tmp_path / "r.pdf").write_bytes(b"%PDF of somebody else")
    assert "left alone" in keep([tmp_path / "r.csv"], b"%PDF")
    assert (tmp_path / "r.pdf").read_bytes() == b"%PDF of somebody else"


def test_an_unreadable_recording_is_told(tmp_path: Path) -> None:
    """A recording that is no longer there gives a sentence for verdict and proof, no traceback."""
    papers = Papers([tmp_path / "gone.csv"], "a4", lambda made: "/proof/x")
    papers.make()
    until(lambda: "cannot be judged" in str(papers.message()["verdict"]))
    until(lambda: "No proof could be made" in str(papers.message()["proof"]))


def test_a_book_that_cannot_be_changed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the book refuses a new vehicle, the page says why and chooses nothing."""

    def refuse(*about: object) -> None:
        raise BookError("The book cannot be written.")

    monkeypatch.setattr("warmwatch.app.visit.shop.set_texts", refuse)
    desk = Desk(scan=list)
    desk.look()
    desk.take(order("new", None, True, label="van", band="80C:90C", source=""))
    assert desk.problem == "The book cannot be written."
    assert desk.vehicle is None


def test_what_is_at_an_unknown_port_has_to_be_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port found by looking has no address until a trial recognised what is there."""
    socket, answered = Socket("port0", "an adapter"), Answered("demo:", answers=True)
    monkeypatch.setattr("warmwatch.app.visit.trial.Here.recognise", lambda self, at: answered)
    monkeypatch.setattr("warmwatch.app.visit.trial.try_link", lambda address, seconds: iter(()))
    set_texts("grey van", {"band": "80:90"})
    desk = Desk(scan=lambda: [socket])
    desk.look()
    until(lambda: "port0" in str(run_message(desk)["adapters"]))
    desk.take(order("vehicle", label="grey van"))
    identity = next(a.id for a in desk.choices.adapters if a.label == "port0")
    desk.take(order("adapter", id=identity))
    assert run_message(desk)["missing"] == "Try the adapter first."
    desk.take(order("try"))
    until(lambda: bool(run_message(desk)["ready"]))
    assert desk.job()[1].kind == "demo"


def test_a_vehicle_that_says_who_it_is_is_proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A vehicle that the book knows by its number is chosen after the trial, and asked about."""
    number = "1M8GDM9AXKP042788"  # the published example of the check digit
    answered = Answered("demo:", answers=True, vin=number)
    monkeypatch.setattr("warmwatch.app.visit.trial.Here.recognise", lambda self, at: answered)
    monkeypatch.setattr("warmwatch.app.visit.trial.try_link", lambda address, seconds: iter(()))
    set_texts("grey van", {"band": "80:90", "vin": number})
    desk = Desk(scan=lambda: [Socket("port0")])
    desk.look()
    until(lambda: "port0" in str(run_message(desk)["adapters"]))
    desk.take(order("adapter", id="a0"))
    desk.take(order("try"))
    until(lambda: bool(run_message(desk)["ready"]))
    assert "grey van" in desk.problem
    assert number not in str(desk.messages())


def test_holds_against_the_brakes_are_warned_of() -> None:
    """A vehicle whose way of warming declares holds shows their cautions before the start."""
    set_texts("old van", {"band": "80:90", "method": "loaded, 3 holds", "link": "demo:"})
    desk = Desk(scan=list)
    desk.look()
    desk.take(order("vehicle", label="old van"))
    assert "does not recommend holding" in str(run_message(desk)["caution"])


def test_another_vehicle_is_another_visit() -> None:
    """A visit that goes on is left when another vehicle is chosen, and kept for the same one."""
    desk = ready()
    set_texts("red car", {"band": "40:50", "link": "demo:"})
    desk.look()
    desk.visit = "2026-05-04 grey"
    desk.take(order("vehicle", label="grey van"))
    assert desk.visit
    desk.take(order("vehicle", label="red car"))
    assert desk.visit == ""


@pytest.mark.slow
def test_the_papers_are_of_all_recordings_of_the_visit(tmp_path: Path) -> None:
    """Draining in one recording and the check in the next: one verdict, one ledger."""
    papers = Papers(a_visit(tmp_path), "a4", lambda made: "/proof/x")
    until(lambda: papers.message()["verdict"] != {"sign": "?", "text": "Looking at the recording."})
    told = papers.message()
    assert "What came out went back in" in str(told["lines"])
    assert dict(told["verdict"])["sign"] == "✔"  # type: ignore[call-overload]


@pytest.mark.slow
@pytest.mark.parametrize("signs", [True, False])
def test_a_proof_from_the_page_is_signed_where_the_shop_has_a_key(
    tmp_path: Path, signs: bool
) -> None:
    """The PDF and its recordings carry the key's signature; without a key the page says so."""
    key = make_key(tmp_path / "key.pem", name="Invented shop")
    offered: list[bytes] = []

    def offer(made: bytes) -> str:
        offered.append(made)
        return "/proof/x"

    seal = Seal(key, tmp_path / "log") if signs else None
    papers = Papers(a_visit(tmp_path / "kept"), "a4", offer, seal)
    papers.make()
    until(lambda: "making" not in str(papers.message()["proof"]))
    told = str(papers.message()["proof"])
    assert ("Signed with the shop's key" if signs else "Not signed") in told
    assert verify_pdf(offered[0]).signed_name == ("Invented shop" if signs else "")


def test_a_vehicle_without_a_known_identifier_is_sent_to_the_guide() -> None:
    """Where no fluid temperature comes, the page names what to type on the laptop, and no file."""
    failed = Step(FLUID, StepState.FAILED, "none came", "name it with signals=FILE.toml")
    assert "warmwatch start" in _line(failed)
    assert "signals=" not in _line(failed)
    other = Step("readings", StepState.FAILED, "none came", "check the plug")
    assert "check the plug" in _line(other)


def test_a_visit_without_a_check_has_a_proof_that_says_so(tmp_path: Path) -> None:
    """Nobody marked a plug out: the sign is open, the sentence says why, and the PDF is made."""
    path = record(tmp_path, [item for item in check_items() if isinstance(item, Reading)])
    papers = Papers([path], "a4", lambda made: "/proof/x")
    until(lambda: "No level check was recorded" in str(papers.message()["verdict"]))
    assert dict(papers.message()["verdict"])["sign"] == "?"  # type: ignore[call-overload]
    papers.make()
    until(lambda: "'ready'" in str(papers.message()["proof"]))
