"""A sending process that dies by SIGKILL where it is told to; run by test_killed.py.

    killable.py DATABASE_URL LOG MINUTES POINT

Sends what is due MINUTES after the first of March through a channel that appends each message's reference
to LOG, and kills itself at POINT with the third message of its kind: "worded reply" (claimed, not begun),
"begun reply" (begun, not handed over), "handed reply" (handed over, not recorded), and so on; "never".
Prints "ready", then each reference.
"""

import asyncio
import itertools
import os
import signal
import sys
from datetime import UTC, datetime, timedelta

from scheduler.sender import Outcome, Rendered, Sender, Sent
from storage.outbox import OutRow
from storage.people import Person
from storage.work import Store

url, log_path, minutes, point = sys.argv[1:]
MOMENT = datetime(2026, 3, 1, 16, tzinfo=UTC) + timedelta(minutes=int(minutes))
passages = itertools.count(1)


def passing(step: str, key: str) -> None:
    """Die here, if this is the place and the time; a message's key begins with its kind."""
    if f"{step} {key.partition(' ')[0]}" == point and next(passages) == 3:
        os.kill(os.getpid(), signal.SIGKILL)


class Log:
    """A channel whose far end is a file: what is written there has arrived."""

    name = "sms"
    addresses = None

    def __init__(self) -> None:
        self.file = os.open(log_path, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        passing("begun", message.text)
        os.write(self.file, f"{reference}\n".encode())
        print(reference, flush=True)
        await asyncio.sleep(0)
        passing("handed", message.text)
        return Sent(reference)


class Clock:
    """A clock that stands at the moment of this run."""

    def now(self) -> datetime:
        return MOMENT


def worded(row: OutRow, _person: Person, _at: datetime) -> Rendered:
    """Any words."""
    passing("worded", row.unique_key)
    return Rendered(row.unique_key)


store = Store(url)
print("ready", flush=True)
asyncio.run(Sender(store, {"sms": Log()}, worded, Clock(), f"process {os.getpid()}").send_due(MOMENT))
