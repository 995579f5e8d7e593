"""`warmheap serve` as a process of its own, by SMS: over SMPP to a real SMSC, and over an HTTP gateway."""

import asyncio
import json
import os
import signal
import socket
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest

from bot.__main__ import main
from storage.outbox import OutRow
from storage.work import Store
from tests.smsc import ANA, OURS, started

PROJECT = Path(__file__).parents[3]
PATIENCE_S = 90.0
GATEWAY = """
[send]
url = "http://127.0.0.1:{port}/send"
fields = {{ to = "{{to}}", text = "{{text}}" }}
message_id = "id"
[receive]
secret = "s3cret"
"""


@asynccontextmanager
async def serving(folder: Path, **settings: str) -> AsyncIterator[Process]:
    """The program, on a database in `folder`; stopped at the end."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("WARMHEAP_")}
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "bot",
        "serve",
        cwd=folder,
        env=environment
        | {"PYTHONPATH": str(PROJECT), "WARMHEAP_DATABASE_URL": f"sqlite:///{folder}/warmheap.sqlite"}
        | settings,
        stderr=PIPE,
    )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.terminate()
        await process.communicate()


async def until_said(process: Process, words: str) -> None:
    """Wait for a line of the log."""
    assert process.stderr is not None
    async with asyncio.timeout(PATIENCE_S):
        while words not in (line := (await process.stderr.readline()).decode()):
            assert line, "the program has ended"


def sent(folder: Path) -> list[OutRow]:
    """What the first person was sent."""
    store = Store(f"sqlite:///{folder}/warmheap.sqlite")
    with store.work(reading=True) as work:
        rows = work.outbox.thread(1, 9)
    store.close()
    return rows


async def test_a_conversation_over_smpp(tmp_path):
    """A stranger texts, agrees by a digit, and is asked on; a receipt settles a text; it ends cleanly."""
    async with started() as smsc:
        settings = {"WARMHEAP_SMPP_URL": smsc.url, "WARMHEAP_SMS_FROM": f"+{OURS}"}
        async with serving(tmp_path, **settings) as process:
            await smsc.next("bind")
            await smsc.deliver("hello")
            consent = await smsc.next("submit")
            await smsc.deliver("1")
            welcome = await smsc.next("submit")
            async with asyncio.timeout(PATIENCE_S):
                while len(rows := await asyncio.to_thread(sent, tmp_path)) < 2:
                    await asyncio.sleep(0.05)
            for part in (rows[0].channel_message_id or "").split():
                await smsc.deliver("", esm_class=4, receipted_message_id=part, message_state=2)
                await smsc.next("answered")
            async with asyncio.timeout(PATIENCE_S):
                while (await asyncio.to_thread(sent, tmp_path))[0].arrived is None:
                    await asyncio.sleep(0.05)
            process.send_signal(signal.SIGTERM)
            await smsc.next("unbind")
            status = await asyncio.wait_for(process.wait(), PATIENCE_S)

    assert "STOP" in consent["text"]
    assert welcome["to"] == consent["to"] == ANA
    assert [row.arrived for row in sent(tmp_path)] == [True, None]
    assert status == 0


async def test_a_conversation_over_a_gateway(tmp_path):
    """The gateway brings a text by the web part and is handed the answer; repeated, it has no effect."""
    answers: asyncio.Queue[dict[str, str]] = asyncio.Queue()

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        length = int(head.partition("content-length: ")[2].split("\r\n")[0])
        answers.put_nowait(json.loads(await reader.readexactly(length)))
        writer.write(b'HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 11\r\n\r\n{"id": "a"}')
        writer.close()

    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    async with await asyncio.start_server(take, "127.0.0.1", 0) as gateway, httpx.AsyncClient() as http:
        (tmp_path / "gateway.toml").write_text(GATEWAY.format(port=gateway.sockets[0].getsockname()[1]))
        async with serving(
            tmp_path,
            WARMHEAP_GATEWAY="gateway.toml",
            WARMHEAP_SMS_FROM=f"+{OURS}",
            WARMHEAP_HTTP=f"127.0.0.1:{port}",
        ) as process:
            await until_said(process, "action=serving")
            for name, text in ((1, "hello"), (1, "hello"), (2, "1")):
                door = {"from": f"+{ANA}", "text": text, "id": name}
                await http.post(f"http://127.0.0.1:{port}/sms", json=door, headers={"X-Secret": "s3cret"})
            consent, welcome = [await asyncio.wait_for(answers.get(), PATIENCE_S) for _ in range(2)]
            health = (await http.get(f"http://127.0.0.1:{port}/health")).json()

    assert "STOP" in consent["text"]
    assert welcome["to"] == consent["to"] == f"+{ANA}"
    assert answers.empty()
    assert health == {"ok": True, "database": "ok", "sms": "ok"}


async def test_a_gateway_that_only_sends_is_told_of(tmp_path):
    """Where no answer can come in, nobody could say stop: the start says so, and what to add."""
    one_way = GATEWAY.format(port=1).partition("[receive]")[0]
    (tmp_path / "gateway.toml").write_text(one_way)
    settings = {"WARMHEAP_GATEWAY": "gateway.toml", "WARMHEAP_SMS_FROM": f"+{OURS}"}
    async with serving(tmp_path, **settings) as process:
        await until_said(process, "one way: nobody can answer or stop; add [receive]")


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({}, "no channel is configured"),
        ({"SMPP_URL": "smpp://a:b@127.0.0.1:9"}, "set WARMHEAP_SMS_FROM"),
        ({"SMPP_URL": "smpp://a:b@127.0.0.1:9", "GATEWAY": "gateway.toml"}, "not both"),
        ({"GATEWAY": "gateway.toml", "SMS_FROM": f"+{OURS}"}, "set WARMHEAP_HTTP"),
        ({"GATEWAY": "nowhere.toml", "SMS_FROM": f"+{OURS}"}, "check WARMHEAP_GATEWAY"),
        ({"SMPP_URL": "smpp://a@host:x", "SMS_FROM": f"+{OURS}"}, "WARMHEAP_SMPP_URL: port"),
    ],
)
def test_what_is_missing_is_told_with_its_setting(tmp_path, monkeypatch, capsys, settings, told):
    """One line names the variable to set, and nothing is started."""
    (tmp_path / "gateway.toml").write_text(GATEWAY.format(port=1))
    monkeypatch.chdir(tmp_path)
    for name in ("TELEGRAM_TOKEN", "SMPP_URL", "GATEWAY", "SMS_FROM", "HTTP"):
        monkeypatch.setenv(f"WARMHEAP_{name}", settings.get(name, ""))

    assert main(["serve"]) == 2

    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
