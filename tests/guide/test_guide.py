"""The guide in an invented world: what it asks, what it writes, and what it refuses."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.guide.worlds import Invented, Person
from warmwatch.app.guide.asking import Choice, Question
from warmwatch.app.guide.guide import guide
from warmwatch.app.guide.world import Answered, Socket
from warmwatch.commands.signals import EXAMPLE
from warmwatch.errors import UsageError

ONE, TWO = Socket("COM5", usb="A1"), Socket("COM6", usb="B2")
VIN, OTHER_VIN = "1J9RP1A36A1644345", "1" * 17
GOOD = Answered("serial:COM5", answers=True)
NEW = {"vehicle": ["white van"], "band": ["80:90C"]}
BOOK = {
    "vehicles": {
        "red truck": {"link": "blue", "band": "60:70", "fluid_name": "x", "signals": "r.toml"},
        "white van": {"link": "blue", "band": "80:90", "signals": "w.toml", "vin": VIN},
    },
    "adapters": {"blue": {"address": "serial:COM5", "usb": "A1"}},
    "shop": {"page": False},
}


@pytest.fixture
def signals(tmp_path: Path) -> Path:
    path = tmp_path / "my.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    return path


def fresh(signals: Path, **more: object) -> Invented:
    """One adapter, nothing in the book, one signal file at hand."""
    given = {"ports": [ONE], "answers": {"COM5": [GOOD]}, "files": [signals], **more}
    return Invented(**given)  # type: ignore[arg-type]


def test_a_new_vehicle_and_adapter_take_at_most_ten_answers(signals: Path) -> None:
    """Even when the number is read and the unit of the band has to be asked."""
    world = fresh(signals, answers={"COM5": [Answered("serial:COM5", True, VIN)]})
    person = Person({"vehicle": ["white van"], "band": ["100:120"]})
    plan = person.run(guide(world))
    assert person.names() == [
        "adapter", "vehicle", "vin", "signal", "band", "unit", "band_source", "drain_band",
        "page", "start",
    ]  # fmt: skip
    assert plan.start
    assert plan.arguments == ["watch", "--yes", "--", "white van"]
    (written,) = world.written
    assert written["adapter 1"] == {"address": "serial:COM5", "usb": "A1"}
    assert written["white van"] == {
        "link": "adapter 1", "signals": str(signals), "band": "100C:120C", "unit": "C",
        "band_source": "service information", "vin": VIN,
    }  # fmt: skip
    assert written["shop"] == {"page": True, "page_host": "private", "page_marks": True}


def test_known_ones_take_two_answers() -> None:
    """The vehicle that says who it is, is proposed first; then its band is confirmed."""
    found = Answered("serial:COM5?usb=A1", True, VIN)
    world = Invented([ONE], answers={"blue": [found]}, content=BOOK)
    person = Person()
    plan = person.run(guide(world))
    assert person.names() == ["vehicle", "confirm"]
    assert plan.label == "white van"
    assert world.written in ([], [{}])
    assert "80 to 90 °C (176 to 194 °F)" in person.asked[1].text


@pytest.mark.parametrize("stop_at", range(1, 10))
def test_ctrl_c_at_any_question_writes_nothing(signals: Path, stop_at: int) -> None:
    """The book is written after the last answer and not before."""
    world = fresh(signals, answers={"COM5": [Answered("serial:COM5", True, VIN)]})
    person = Person(NEW, stop_at=stop_at)
    with pytest.raises(KeyboardInterrupt):
        person.run(guide(world))
    assert world.written == []


def test_the_port_that_appears_is_the_adapter(signals: Path) -> None:
    """Of two alike the one that goes and comes back is taken, also under another name."""
    world = fresh(
        signals,
        ports=[ONE, TWO],
        plugs=[[TWO], [TWO, Socket("COM9", usb="A1")]],
        answers={"COM9": [Answered("serial:COM9", True)]},
    )
    person = Person(NEW | {"adapter": [""]})
    person.run(guide(world))
    assert world.written[0]["adapter 1"]["address"] == "serial:COM9"
    assert "That is COM9." in person.told


def test_no_port_at_all(signals: Path) -> None:
    """It asks to plug the adapter in; Enter looks again; an address may be typed."""
    world = fresh(signals, ports=[], answers={"serial:socket://h:1": [GOOD]})
    person = Person(NEW | {"adapter": ["", "", "serial:socket://h:1"]})
    person.run(guide(world))
    assert person.names()[:3] == ["adapter"] * 3
    assert "Plug it in" in person.asked[0].text


def test_no_port_that_came_is_told(signals: Path) -> None:
    """Nothing appeared, or several at once: it says so and asks again."""
    world = fresh(signals, ports=[ONE, TWO], plugs=[[ONE, TWO], [ONE, TWO]])
    person = Person(NEW | {"adapter": ["find", "COM5"]})
    person.run(guide(world))
    assert any("No port appeared" in text for text in person.told)


def test_a_silent_vehicle_may_be_tried_again_or_gone_on_with(signals: Path) -> None:
    """The adapter answers and the vehicle does not: ignition; Enter tries again."""
    silent = Answered("serial:COM5")
    world = fresh(signals, answers={"COM5": [silent, silent, GOOD]})
    person = Person(NEW)
    person.run(guide(world))
    assert person.names().count("silent") == 2
    assert "Ignition on?" in person.asked[1].text
    world = fresh(signals, answers={"COM5": [silent]})
    person = Person(NEW | {"silent": ["on"]})
    assert person.run(guide(world)).start


def test_a_known_adapter_that_fails_leads_to_another(signals: Path) -> None:
    """Nothing answers at the known one: another may be chosen, and the vehicle follows it."""
    world = Invented(
        [ONE, TWO],
        answers={"blue": [None], "COM6": [Answered("serial:COM6", True)]},
        content=BOOK,
    )
    person = Person({"silent": ["other"], "adapter": ["COM6"], "vehicle": ["white van"]})
    person.run(guide(world))
    assert world.written[0]["adapter 1"]["address"] == "serial:COM6"
    assert world.written[0]["white van"] == {"link": "adapter 1"}


def test_another_number_than_the_books_is_told() -> None:
    """The wrong vehicle would mean the wrong band."""
    world = Invented([ONE], answers={"blue": [Answered("x", True, OTHER_VIN)]}, content=BOOK)
    person = Person({"vehicle": ["white van"]})
    person.run(guide(world))
    assert any("…1111" in text and "…4345" in text for text in person.told)


def test_a_band_that_is_wrong_in_the_book_can_be_given_anew() -> None:
    """`change` at the confirmation asks for band and source again."""
    world = Invented([ONE], answers={"blue": [Answered("x", True)]}, content=BOOK)
    person = Person({"vehicle": ["white van"], "confirm": ["no"], "band": ["176F:185F"]})
    person.typed["confirm"] = ["change"]
    person.run(guide(world))
    assert world.written[0]["white van"]["band"] == "176F:185F"


def test_the_search_gives_the_signal_file(signals: Path) -> None:
    """A search that finds nothing asks again; one that finds gives its file."""
    world = fresh(signals, files=[], searched=[None, signals])
    person = Person(NEW)
    person.run(guide(world))
    assert person.names().count("signal") == 2
    assert world.written[0]["white van"]["signals"] == str(signals)


def test_a_link_that_gives_the_fluid_needs_no_signal_file(signals: Path) -> None:
    """What is broadcast has its temperature already."""
    world = fresh(signals, answers={"COM5": [Answered("broadcast:COM5", True, fluid=True)]})
    person = Person(NEW)
    person.run(guide(world))
    assert "signal" not in person.names()


def test_no_network_means_no_page(signals: Path) -> None:
    """Why no phone can be shown the page is said, and nothing about it is written."""
    world = fresh(signals, page="this computer is in no network")
    person = Person(NEW)
    person.run(guide(world))
    assert "page" not in person.names()
    assert any("in no network" in text for text in person.told)
    assert "shop" not in world.written[0]


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("band", "", "never guesses"),
        ("band", "hot", "two temperatures"),
        ("band", "90:80", "below"),
        ("vehicle", "demo:", "link address"),
        ("vehicle", "shop", "already"),
        ("vehicle", "a\x00b", "control"),
        ("signal", "none.toml", "cannot be read"),
        ("drain_band", "9", "two temperatures"),
        ("page", "perhaps", "not one of the answers"),
        ("start", "7", "not one of the answers"),
        ("adapter", "foo:bar", "not a link address"),
    ],
)
def test_a_wrong_answer_is_told_in_one_sentence(
    signals: Path, name: str, typed: str, told: str
) -> None:
    """Each is refused by the question itself, which is then asked again."""
    person = Person(NEW)
    person.run(guide(fresh(signals)))
    question = next(question for question in person.asked if question.name == name)
    with pytest.raises(UsageError, match=told):
        question.answer(typed)


def test_one_answer_may_be_said_in_several_ways() -> None:
    """By its number, its word, the word's first letter, in any case, or by Enter."""
    question = Question("q", "?", (Choice("yes", ""), Choice("no", "")), "no")
    for typed in ("1", "yes", "Y", " YES "):
        assert question.answer(typed) == "yes"
    assert question.answer("") == "no"


@given(st.text(max_size=40))
def test_any_label_is_taken_or_refused(typed: str) -> None:
    """Whatever is typed: an answer that reads the same, or one sentence."""
    from warmwatch.app.guide.vehicle import _new_label
    from warmwatch.book.book import Book

    question = Question("q", "?", check=lambda text: _new_label(Book(Path("x")), text))
    try:
        label = question.answer(typed)
    except UsageError:
        return
    assert label
    assert question.answer(label) == label
