"""The console channel: in a real terminal, and with other people on the same database."""

import os
import pty
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from storage.outbox import Line
from storage.people import Person
from storage.work import Store

PROJECT = Path(__file__).parents[3]
PATIENCE_S = 90.0
"""On a busy machine a message may have to wait for the second beat. [s]"""
CURSOR_ASKED, CURSOR_AT = b"\x1b[6n", b"\x1b[1;1R"


class Terminal:
    """A terminal window in which a program runs."""

    def __init__(self, command: list[str], **environment: str) -> None:
        self._ours, theirs = pty.openpty()
        self.program = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=os.environ | environment
        )
        os.close(theirs)
        self.shown, self._seen = "", 0

    def type(self, keys: str) -> None:
        """Press some keys."""
        os.write(self._ours, keys.encode())

    def until(self, text: str) -> None:
        """Wait until the terminal has shown this, after what was waited for before."""
        end = time.monotonic() + PATIENCE_S
        while (found := self.shown.find(text, self._seen)) < 0:
            assert time.monotonic() < end, self.shown
            if select.select([self._ours], [], [], 1)[0]:
                output = os.read(self._ours, 65536)
                if CURSOR_ASKED in output:  # a terminal answers where its cursor is
                    os.write(self._ours, CURSOR_AT)
                self.shown += output.decode()
        self._seen = found + len(text)

    def ended(self) -> int:
        """The exit status of the program, which has been told to end."""
        return self.program.wait(PATIENCE_S)

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self.program.kill()
        self.program.wait()
        os.close(self._ours)


@pytest.fixture
def store(tmp_path) -> Iterator[Store]:
    """A database in which Ana and Beto have agreed to be written to, on the console, but to no nudges now."""
    store = Store(f"sqlite:///{tmp_path}/warmheap.sqlite")
    store.upgrade()
    at = datetime(2026, 3, 1, tzinfo=UTC)
    with store.work() as work:
        for name in ("ana", "beto"):
            person = work.people.add("console", name, name.capitalize(), "en", "f", "America/Denver", at)
            work.people.consent(person.id, True, "OK?", "en", "console", None, "1", at)
            work.people.change(person.id, paused_until=date.max)
        work.commit()
    yield store
    store.close()


def window(name: str, folder: Path) -> Terminal:
    return Terminal(
        [sys.executable, "-m", "bot", "chat", "--as", name],
        PYTHONPATH=str(PROJECT),
        TERM="xterm",
        WARMHEAP_DATABASE_URL=f"sqlite:///{folder}/warmheap.sqlite",
        WARMHEAP_PROFILE="",
    )


def write_to(store: Store, name: str, key: str) -> None:
    """Put a message for someone into the outbox."""
    now = datetime.now(UTC)
    with store.work() as work:
        person = work.people.by_address("console", name)
        assert isinstance(person, Person)
        work.outbox.add(
            person.id,
            "reply",
            [Line(key, {})],
            due_at=now,
            unique_key=f"{name} {now}",
            reason={"why": "test"},
        )
        work.commit()


def heard(store: Store, name: str) -> list[str]:
    with store.work(reading=True) as work:
        person = work.people.by_address("console", name)
        assert isinstance(person, Person)
        return [message["text"] for message in work.people.export(person.id)["received"]]


def test_a_message_that_arrives_while_typing_leaves_the_line_whole(store, tmp_path):
    """What comes in is shown above the line being typed, and the line arrives as it was typed."""
    with window("Ana", tmp_path) as terminal:
        terminal.until("ana>")
        terminal.type("temp 1")
        write_to(store, "ana", "thanks")
        terminal.until("Glad to help")
        terminal.type("28\r")
        terminal.until("128 F.")
        terminal.until("ana>")
        terminal.type("\x04")

        assert terminal.ended() == 0
    assert heard(store, "ana") == ["temp 128"]


@pytest.mark.usefixtures("store")
def test_the_first_screen_says_how_to_end(tmp_path):
    """Two lines say what this is and how to end it; an interrupt ends it as well."""
    with window("Ana", tmp_path) as terminal:
        terminal.until("ana>")
        welcome = terminal.shown.split("\r\n\r\n")[0]
        terminal.type("\x03")

        assert terminal.ended() == 0
    assert len(welcome.splitlines()) == 2
    assert "Ctrl-D" in welcome


def test_each_window_shows_its_own_persons_messages(store, tmp_path):
    """Two people on one database: what is for Beto waits for his window and is not shown in Ana's."""
    with window("Ana", tmp_path) as ana:
        ana.until("ana>")
        write_to(store, "beto", "thanks")
        write_to(store, "ana", "privacy")
        ana.until("I am a program")
        with window("Beto", tmp_path) as beto:
            beto.until("Glad to help")

    assert "Glad to help" not in ana.shown
    assert "I am a program" not in beto.shown
