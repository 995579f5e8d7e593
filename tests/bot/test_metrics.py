"""The operator's figures: for whoever brings the token, in the open text format, with nothing of anybody."""

from datetime import UTC, datetime, timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.metrics import Counted, metrics_page
from scheduler.sender import NotSent, Outcome, Pace, Rendered, Sent, Shows
from storage.inbox import Incoming
from storage.outbox import Line
from storage.work import Store

NOW = datetime(2026, 5, 20, 18, tzinfo=UTC)
TOKEN = "a-long-random-word"


class Noon:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


class Post:
    """A channel that does as it is told."""

    name = "post"
    addresses = frozenset({"here"})
    pace = Pace(per_second=3)
    shows = Shows(buttons=True)
    became: Outcome = Sent()

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Send one message."""
        return self.became


@pytest.fixture
def monitor(store: Store) -> TestClient:
    """A program that reads /metrics of ours."""

    async def health() -> dict[str, str]:
        return {"database": "ok", "post": "no link"}

    return TestClient(Starlette(routes=[metrics_page(TOKEN, health, store, Noon())]))


def read(monitor: TestClient) -> dict[tuple[str, ...], float]:
    """Every figure of ours by its name and labels, read by the format's own parser."""
    answer = monitor.get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


@pytest.mark.parametrize("header", [None, TOKEN, "Bearer wrong", "Basic a-long-random-word", b"Bearer \xff"])
def test_without_the_token_nothing_is_told(monitor, header):
    """Whoever does not bring the token as a bearer is refused (RFC 6750, 2.1)."""
    answer = monitor.get("/metrics", headers={} if header is None else {"Authorization": header})

    assert answer.status_code == 401
    assert "warmheap" not in answer.text
    assert answer.headers["www-authenticate"] == "Bearer"


def test_what_waits_is_counted_with_the_age_of_the_oldest(monitor, store):
    """Messages that nobody has answered, and those that are due and have not gone out."""
    before = NOW - timedelta(minutes=2)
    with store.work() as work:
        person = work.people.add("post", "here", "Ana", "en", "f", "America/Denver", before)
        work.inbox.take(Incoming("post", "here", "1", "temp 128", before))
        for number, due_at in enumerate((NOW - timedelta(seconds=30), NOW, NOW + timedelta(days=1))):
            lines = [Line("welcome", {})]
            work.outbox.add(person.id, "reply", lines, due_at=due_at, unique_key=f"{number}", reason={})
        work.commit()

    told = read(monitor)

    assert told["warmheap_waiting", "in"] == 1
    assert told["warmheap_oldest_waiting_seconds", "in"] == 120
    assert told["warmheap_waiting", "out"] == 2
    assert told["warmheap_oldest_waiting_seconds", "out"] == 30


def test_each_part_is_told_well_or_not(monitor):
    """One for well, nothing for what is not."""
    told = read(monitor)

    assert (told["warmheap_up", "database"], told["warmheap_up", "post"]) == (1, 0)


async def test_sending_is_counted_by_what_became_of_it(monitor):
    """A counted channel serves as it did, and leaves a count and a time for each message."""
    before = read(monitor)
    post = Post()
    counted = Counted(post)
    for outcome in (Sent("1"), NotSent("busy"), NotSent("busy")):
        post.became = outcome

        assert await counted.send("here", Rendered("words"), "1") == outcome

    told = read(monitor)

    def more(*name: str) -> float:
        return told[name] - before.get(name, 0)

    assert more("warmheap_sent_total", "post", "sent") == 1
    assert more("warmheap_sent_total", "post", "notsent") == 2
    assert more("warmheap_sending_seconds_count", "post") == 3
    assert (counted.name, counted.addresses) == ("post", frozenset({"here"}))
    assert (counted.pace, counted.shows) == (Pace(3), Shows(buttons=True))
