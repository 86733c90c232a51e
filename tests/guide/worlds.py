"""An invented world for the guide, and somebody who answers from a list."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from warmwatch.app.guide.asking import Asked, Question, Say, drive
from warmwatch.app.guide.guide import Plan
from warmwatch.app.guide.world import Answered, Socket
from warmwatch.book.book import Book, book_of
from warmwatch.book.keys import Value


@dataclass
class Invented:
    """Ports, what answers at them, and a book; `plugs` are the ports after each change."""

    ports: list[Socket] = field(default_factory=list)
    plugs: list[list[Socket]] = field(default_factory=list)
    answers: dict[str, list[Answered | None]] = field(default_factory=dict)
    content: dict[str, Any] = field(default_factory=dict)
    files: list[Path] = field(default_factory=list)
    searched: list[Path | None] = field(default_factory=list)
    page: str = ""
    written: list[Mapping[str, Mapping[str, Value | None]]] = field(default_factory=list)

    def book(self) -> Book:
        return book_of(self.content, Path("/invented/book.toml"))

    def sockets(self) -> list[Socket]:
        return list(self.ports)

    def changed(self, before: list[Socket]) -> list[Socket]:
        if self.plugs:
            self.ports = self.plugs.pop(0)
        return list(self.ports)

    def recognise(self, socket: Socket) -> Answered | None:
        left = self.answers.get(socket.name, [None])
        return left.pop(0) if len(left) > 1 else left[0]

    def signal_files(self) -> list[Path]:
        return self.files

    def search(self, address: str, label: str) -> Path | None:
        return self.searched.pop(0)

    def no_page(self) -> str:
        return self.page

    def write(self, entries: Mapping[str, Mapping[str, Value | None]]) -> None:
        self.written.append(entries)


@dataclass
class Person:
    """Answers by the question's name; what is not in the list is answered by Enter."""

    typed: dict[str, list[str]] = field(default_factory=dict)
    asked: list[Question] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    stop_at: int = -1

    def __post_init__(self) -> None:
        self.typed = {name: list(answers) for name, answers in self.typed.items()}

    def ask(self, question: Question) -> str:
        self.asked.append(question)
        if len(self.asked) == self.stop_at:
            raise KeyboardInterrupt
        left = self.typed.get(question.name, [])
        return question.answer(left.pop(0) if left else "")

    def say(self, said: Say) -> None:
        self.told.append(said.text)

    def names(self) -> list[str]:
        return [question.name for question in self.asked]

    def run(self, guide: Asked[Plan]) -> Plan:
        return drive(guide, self.ask, self.say)
