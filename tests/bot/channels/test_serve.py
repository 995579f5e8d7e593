"""`warmheap serve` as a process of its own, on Telegram's side of an emulated Bot API."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from storage.outbox import OutRow
from storage.work import Store

PROJECT = Path(__file__).parents[3]
PATIENCE_S = 90.0
LONGEST_STOP_S = 10.0


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


def free_port() -> int:
    """A port that nobody listens at."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def until_said(process: subprocess.Popen[str], words: str) -> list[str]:
    """The lines of the log up to one that holds these words."""
    assert process.stderr is not None
    said: list[str] = []
    while not said or words not in said[-1]:
        said.append(process.stderr.readline())
        assert said[-1], "the program has ended"
    return said


def test_a_conversation_over_the_webhook(phone, tmp_path):
    """With a public address Telegram brings the updates; forged ones have no effect."""
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    with serving(phone, tmp_path, WARMHEAP_HTTP=f"127.0.0.1:{port}", WARMHEAP_PUBLIC_URL=url) as process:
        phone.say("hello")
        [consent] = phone.read()
        forged = {"update_id": 9, "message": phone.message(message_id=9, text="stop")}
        refused = httpx.post(f"{url}/telegram", json=forged)
        phone.tap(buttons(consent)["yes"])
        [welcome] = phone.read()
        process.send_signal(signal.SIGTERM)
        status = process.wait(PATIENCE_S)

    assert refused.status_code == 401
    assert "STOP" in consent["text"]
    assert "reply_markup" in welcome
    assert status == 0


def test_the_start_says_what_is_on_and_what_is_off(phone, tmp_path):
    """Each part has a line: how it is on, or what turns it on, and that forecasts need not be waited for."""
    port = free_port()
    settings = {"WARMHEAP_HTTP": f"127.0.0.1:{port}", "WARMHEAP_METRICS_TOKEN": "a-long-random-word"}
    with serving(phone, tmp_path, **settings) as process:
        said = "".join(until_said(process, "action=serving"))
        until_said(process, "action=ready part='forecaster'")

    assert "action=on part='telegram' how='long polling'" in said
    assert "action=off part='sms' to_turn_on='set WARMHEAP_GATEWAY or WARMHEAP_SMPP_URL'" in said
    assert f"action=on part='web' how='127.0.0.1:{port}'" in said
    assert "action=off part='staff pages' to_turn_on='set WARMHEAP_HTTP, and WARMHEAP_PUBLIC_URL" in said
    assert "action=on part='metrics' how='/metrics'" in said
    assert "action=off part='profile' to_turn_on='copy deploy/larkmoor.toml" in said
    assert "action=off part='weather' to_turn_on='name a url" in said
    assert "a-long-random-word" not in said


def test_metrics_count_what_goes_in_and_out(phone, tmp_path):
    """A monitor with the token reads counts; they say nothing of anybody."""
    port = free_port()
    settings = {"WARMHEAP_HTTP": f"127.0.0.1:{port}", "WARMHEAP_METRICS_TOKEN": "a-long-random-word"}
    with serving(phone, tmp_path, **settings):
        phone.say("hello")
        phone.read()
        until_written_down(tmp_path)
        bearer = {"Authorization": "Bearer a-long-random-word"}
        told = httpx.get(f"http://127.0.0.1:{port}/metrics", headers=bearer).text
        health = httpx.get(f"http://127.0.0.1:{port}/health").json()

    assert 'warmheap_received_total{channel="telegram",form="text"} 1.0' in told
    assert 'warmheap_sent_total{channel="telegram",outcome="sent"} 1.0' in told
    assert "Ana" not in told
    assert health == {"ok": True, "database": "ok", "telegram": "ok"}


GROUP = {"id": -5, "type": "supergroup", "title": "Garden"}


def in_group(phone, text: str, message_id: int) -> None:
    """Say something to the bot in a group."""
    said = f"@TestNameBot {text}"
    name = [{"type": "mention", "offset": 0, "length": 12}]
    phone.update(message=phone.message(message_id=message_id, text=said, entities=name, chat=GROUP))


def test_a_family_group(phone, tmp_path):
    """Who has not joined is asked into a private chat; then the group hears answers, not what is private."""
    with serving(phone, tmp_path):
        group = phone.others(-5, "Garden")
        in_group(phone, "temp 128", 7)
        [first] = group.read()
        for text in (
            "hello",
            "yes",
            "built it today, 3x3x3 ft, 10 buckets of leaves, 8 of grass, all at once",
        ):
            phone.say(text)
            phone.read()
        in_group(phone, "temp 128", 8)
        [answer] = group.read()
        in_group(phone, "forget me", 9)
        [asked] = phone.read()

    assert "private chat" in first["text"]
    assert "128 F" in answer["text"]
    assert "erases" in asked["text"]


def test_being_blocked_is_an_opt_out_until_they_start_again(phone, tmp_path):
    """Nothing goes to whoever blocked us; unblocking alone is no yes, the start that comes with it is."""
    us = {"id": 666, "is_bot": True, "first_name": "Warmheap", "username": "TestNameBot"}

    def become(before: str, after: str, date: int) -> None:
        states = [
            {"user": us, "status": status} | ({"until_date": 0} if status == "kicked" else {})
            for status in (before, after)
        ]
        who = {"chat": {"id": 77, "type": "private"}, "from": phone.message()["from"], "date": date}
        phone.update(my_chat_member=who | {"old_chat_member": states[0], "new_chat_member": states[1]})

    with serving(phone, tmp_path):
        for text in ("hello", "yes"):
            phone.say(text)
            phone.read()
        become("member", "kicked", 1_772_355_700)
        become("kicked", "member", 1_772_355_800)
        phone.say("temp 128")
        phone.say("/start")
        [back] = phone.read()

    store = Store(f"sqlite:///{tmp_path}/warmheap.sqlite")
    with store.work(reading=True) as work:
        ledger = [line.given for line in work.people.consents(1)]
    store.close()
    assert "back" in back["text"].lower()
    assert ledger == [True, False, True]


def test_an_update_that_cannot_be_read_ends_nothing(phone, tmp_path):
    """The next one is answered."""
    with serving(phone, tmp_path):
        phone.update(message={"text": "secret words", "date": "never"})
        phone.say("hello")
        [consent] = phone.read()

    assert "STOP" in consent["text"]


def test_it_stops_in_time_though_a_message_hangs(phone, tmp_path):
    """Telegram takes a message and never answers: the end comes in time, and it is not sent a second time."""
    with serving(phone, tmp_path) as process:
        phone.fault("sendMessage", hang=True)
        phone.say("hello")
        while not phone.calls_of_mine("sendMessage"):
            pass
        process.send_signal(signal.SIGTERM)
        status = process.wait(LONGEST_STOP_S)
    phone.say("hello again")
    with serving(phone, tmp_path):
        phone.read()

    assert status == 0
    assert len(phone.calls_of_mine("sendMessage")) == 2


def test_it_stops_in_time_though_the_database_is_taken(phone, tmp_path):
    """Another program holds the database: what came is stored and answered by the next that starts, once."""
    with serving(phone, tmp_path) as process:
        until_said(process, "action=serving")
        phone.say("hello")
        phone.read()
        until_written_down(tmp_path)
        holder = sqlite3.connect(tmp_path / "warmheap.sqlite", isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        phone.say("yes")
        process.send_signal(signal.SIGTERM)
        status = process.wait(LONGEST_STOP_S)
        holder.execute("ROLLBACK")
        holder.close()
    with serving(phone, tmp_path):
        [welcome] = phone.read()

    assert status == 0
    assert "reply_markup" in welcome
    assert len(phone.calls_of_mine("sendMessage")) == 2


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
