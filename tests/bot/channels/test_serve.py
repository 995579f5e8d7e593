"""`warmheap serve` as a process of its own, on Telegram's side of an emulated Bot API."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from storage.outbox import OutRow
from storage.work import Store

PROJECT = Path(__file__).parents[3]
PATIENCE_S = 30.0


@contextmanager
def serving(phone, folder: Path, **settings: str) -> Iterator[subprocess.Popen[str]]:
    """The program, serving the phone's bot on a database in `folder`; stopped at the end."""
    environment = os.environ | {
        "PYTHONPATH": str(PROJECT),
        "WARMHEAP_DATABASE_URL": f"sqlite:///{folder}/warmheap.sqlite",
        "WARMHEAP_PROFILE": "",
        "WARMHEAP_TELEGRAM_API": phone.api,
        "WARMHEAP_TELEGRAM_TOKEN": phone.token,
    }
    command = [sys.executable, "-m", "bot", "serve"]
    with subprocess.Popen(
        command, cwd=folder, env=environment | settings, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process
        finally:
            process.terminate()


def until_written_down(folder: Path) -> None:
    """Wait until the first message of the database counts as sent."""
    store = Store(f"sqlite:///{folder}/warmheap.sqlite")
    known: list[OutRow] = []
    while not known:
        with store.work(reading=True) as work:
            known = work.outbox.thread(1, 1)
    store.close()


def buttons(message: dict[str, Any]) -> dict[str, str]:
    return {
        button["text"]: button["callback_data"]
        for row in message["reply_markup"]["inline_keyboard"]
        for button in row
    }


def test_a_conversation_by_text_and_button(phone, tmp_path):
    """A stranger presses start, agrees by a button, and is asked about the pile; the process ends cleanly."""
    with serving(phone, tmp_path) as process:
        phone.say("/start")
        [consent] = phone.read()
        phone.tap(buttons(consent)["yes"])
        [welcome] = phone.read()
        process.send_signal(signal.SIGTERM)
        status = process.wait(PATIENCE_S)

    assert "STOP" in consent["text"]
    assert "1 yes" not in consent["text"]
    assert "reply_markup" in welcome
    assert status == 0


def test_an_old_button_still_means_what_it_said(phone, tmp_path):
    """A button answers the question of its own message, though another has been asked since."""
    with serving(phone, tmp_path):
        phone.say("hello")
        [consent] = phone.read()
        phone.say("yes")
        [welcome] = phone.read()
        phone.say("yes")
        phone.read()
        phone.tap(buttons(welcome)["not yet"])
        [gather] = phone.read()

    assert "leaves" in gather["text"]
    assert consent["text"] != gather["text"]


def test_mending_a_sent_message_corrects_the_reading(phone, tmp_path):
    """An edit replaces what the message told: the pile has one reading, the mended one."""
    told = (
        "hello",
        "yes",
        "built it today, 3x3x3 ft, 10 buckets of leaves, 8 of grass, all at once",
        "temp 118",
    )
    with serving(phone, tmp_path):
        for text in told:
            phone.say(text)
            phone.read()
        edited = phone.message(message_id=99, text="temp 128", edit_date=1_772_355_660)
        phone.update(edited_message=edited)
        [answer] = phone.read()

    store = Store(f"sqlite:///{tmp_path}/warmheap.sqlite")
    with store.work(reading=True) as work:
        readings = [told.record.core_c for told in work.piles.records(1)]
    store.close()
    assert readings == [pytest.approx((128 - 32) / 1.8)]
    assert "128 F" in answer["text"]


def test_what_arrives_while_it_is_down_is_answered_once(phone, tmp_path):
    """Killed in the middle and started again, it answers what was sent meanwhile, once."""
    with serving(phone, tmp_path) as process:
        phone.say("hello")
        phone.read()
        until_written_down(tmp_path)
        process.kill()
        process.wait(PATIENCE_S)
    phone.say("yes")

    with serving(phone, tmp_path):
        phone.say("thanks")
        answers = [message["text"] for message in phone.read(2)]

    assert len(answers) == 2
    assert not any("STOP" in answer for answer in answers)


def test_a_refused_token_ends_in_one_line(phone, tmp_path):
    """With a wrong token nothing is served, and one line names the setting."""
    with serving(phone, tmp_path, WARMHEAP_TELEGRAM_TOKEN="1:refused") as process:
        _, said = process.communicate(timeout=PATIENCE_S)

    assert process.returncode == 2
    assert said == "warmheap: Telegram refuses the token; check WARMHEAP_TELEGRAM_TOKEN\n"


def test_without_a_network_it_says_so_and_goes_on(phone, tmp_path):
    """Where Telegram cannot be reached the program stays up, names the setting, and keeps trying."""
    with serving(phone, tmp_path, WARMHEAP_TELEGRAM_API="http://127.0.0.1:9") as process:
        assert process.stderr is not None
        said = next(line for line in process.stderr if "WARNING" in line)
        running = process.poll() is None

    assert "check the network and WARMHEAP_TELEGRAM_API" in said
    assert running


def test_the_token_stays_out_of_the_log(phone, tmp_path):
    """Nothing that is logged holds the token, or what a person wrote."""
    with serving(phone, tmp_path) as process:
        phone.say("a private word")
        phone.read()
        process.send_signal(signal.SIGTERM)
        _, said = process.communicate(timeout=PATIENCE_S)

    assert "action=serving" in said
    assert phone.token not in said
    assert "private" not in said
