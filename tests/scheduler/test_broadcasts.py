"""Texts to many and survey questions: each person once, in their budget and hours; stopped at once."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import create_engine, func, select

from scheduler.broadcasts import OPT_OUT_FEWEST, send_out
from storage.broadcasts import Audience, Broadcast, Result
from storage.models import OutboxTable
from storage.outbox import Line
from storage.people import Person
from storage.staff import Member
from storage.surveys import Item
from storage.work import Store, Work

ZONE = "America/Denver"
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A store on an empty database, once of each kind."""
    opened = Store(database_url)
    yield opened
    opened.close()


@pytest.fixture
def now(at: datetime) -> datetime:
    """Noon, weeks after everybody joined."""
    return at + 30 * DAY + 3 * HOUR


@pytest.fixture
def maren(store: Store, at: datetime) -> Member:
    """An educator, who has said no yes for herself."""
    with store.work() as work:
        person = work.people.add("sms", "+13035550142", "Maren", "en", "f", ZONE, at)
        member = work.staff.join(work.staff.invite("Maren", "educator", None, at), person.id, at)
        work.commit()
    assert member is not None
    return member


@pytest.fixture
def graduates(store: Store, at: datetime) -> list[Person]:
    """Thirty who said yes, every third in Spanish."""
    with store.work() as work:
        people = [
            work.people.add("sms", f"+1303556{n:04}", None, "en" if n % 3 else "es", "f", ZONE, at)
            for n in range(30)
        ]
        joined = [work.people.consent(each.id, True, "Yes?", "en", "sms", None, "1", at) for each in people]
        work.commit()
    return joined


def approved(
    work: Work, maren: Member, now: datetime, audience: Audience | None = None, per_hour: int = 3600
) -> Broadcast:
    """A text to many that may begin."""
    draft = work.broadcasts.draft(
        "Heat", audience or Audience(), "It is hot.", "Hace calor.", per_hour, maren.id, now
    )
    work.broadcasts.approve(draft.id, maren.id, now, now)
    return draft


def start(
    store: Store, maren: Member, now: datetime, audience: Audience | None = None, per_hour: int = 3600
) -> int:
    """A text to many that has begun; its id."""
    with store.work() as work:
        broadcast = approved(work, maren, now, audience, per_hour)
        work.commit()
    return broadcast.id


def result(store: Store, broadcast_id: int) -> Result:
    """What has come of it."""
    with store.work(reading=True) as work:
        return work.broadcasts.result(broadcast_id)


def status(store: Store, broadcast_id: int) -> str:
    """Where it stands."""
    with store.work(reading=True) as work:
        return work.broadcasts.get(broadcast_id).status


@pytest.mark.usefixtures("graduates")
def test_a_draft_goes_to_nobody(store: Store, maren: Member, now: datetime) -> None:
    """Nothing is made before somebody approves it, nor before the delay of an office of one is over."""
    with store.work() as work:
        draft = work.broadcasts.draft("Heat", Audience(), "Hot.", "Calor.", 3600, maren.id, now)
        work.commit()
    assert send_out(store, now, ZONE) == 0
    with store.work() as work:
        work.broadcasts.approve(draft.id, maren.id, now, now + DAY)
        work.commit()

    assert send_out(store, now + 23 * HOUR, ZONE) == 0
    assert send_out(store, now + DAY, ZONE) == 30


def test_everybody_gets_it_once_in_their_language(
    store: Store, database_url: str, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """Twenty in English and ten in Spanish; further beats find nobody left, and it is done."""
    broadcast_id = start(store, maren, now)
    for minute in range(4):
        send_out(store, now + minute * MINUTE, ZONE)
    engine = create_engine(database_url)
    with engine.connect() as connection:
        lines = connection.scalars(select(OutboxTable.lines)).all()
    engine.dispose()

    said = [values["text"] for [[_key, values]] in lines]
    assert (said.count("It is hot."), said.count("Hace calor.")) == (20, 10)
    assert len(graduates) == 30
    assert status(store, broadcast_id) == "done"


@pytest.mark.usefixtures("graduates")
def test_it_keeps_its_pace(store: Store, maren: Member, now: datetime) -> None:
    """At 600 an hour ten go in a minute, however often the worker beats."""
    start(store, maren, now, per_hour=600)

    made = [send_out(store, now + seconds * timedelta(seconds=1), ZONE) for seconds in (0, 20, 40, 60, 80)]

    assert made == [10, 0, 0, 10, 0]


@pytest.mark.usefixtures("graduates")
def test_nobody_gets_it_at_night(store: Store, maren: Member, now: datetime) -> None:
    """At ten in the evening nothing is made; the next morning it goes on."""
    start(store, maren, now)

    assert send_out(store, now + 10 * HOUR, ZONE) == 0
    assert send_out(store, now + 21 * HOUR, ZONE) == 30


def test_a_stop_calls_back_what_waits(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """Ten were made, one is sent: the nine that wait are held back, and no more are made."""
    broadcast_id = start(store, maren, now, per_hour=600)
    send_out(store, now, ZONE)
    with store.work() as work:
        [first] = work.outbox.claim(now, "a", HOUR, 1)
        work.outbox.sent(first.id, now, "It is hot.", None)
        assert work.broadcasts.stop(broadcast_id, now, "by staff")
        work.commit()

    assert send_out(store, now + HOUR, ZONE) == 0
    came = result(store, broadcast_id)
    assert (came.sent, came.waiting, came.held) == (1, 0, {"stopped": 9})
    assert len(graduates) == 30


def test_it_spends_each_ones_budget(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """Who had a nudge today gets it tomorrow; who got it is not sent another within the week."""
    ines = graduates[0]
    with store.work() as work:
        work.outbox.add(
            ines.id,
            "nudge",
            [Line("nudge.turn", {})],
            due_at=now - HOUR,
            unique_key="n",
            reason={"phase": "steady"},
        )
        work.commit()
    first = start(store, maren, now)

    assert send_out(store, now, ZONE) == 29
    assert send_out(store, now + DAY, ZONE) == 1
    second = start(store, maren, now + 2 * DAY)
    assert send_out(store, now + 2 * DAY, ZONE) == 0
    assert send_out(store, now + 7 * DAY, ZONE) == 29
    assert status(store, first) == "done"
    assert status(store, second) == "going"


def test_who_may_never_have_it_is_told_with_the_reason(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """Paused for good, silent for long, or about another matter only: counted by the reason."""
    with store.work() as work:
        work.people.change(graduates[0].id, paused_until=date.max)
        work.people.change(graduates[1].id, unanswered=4)
        work.people.change(graduates[2].id, only_about="water")
        work.people.change(graduates[3].id, only_about="turn")
        work.people.consent(graduates[4].id, False, "stop", "en", "sms", None, "1", now)
        work.commit()
    broadcast_id = start(store, maren, now, Audience(topic="water"))

    assert send_out(store, now, ZONE) == 26
    assert result(store, broadcast_id).held == {"paused": 1, "four unanswered": 1, "only about turn": 1}


def test_who_cannot_have_it_within_a_week_gets_it_no_more(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """News of last week is none."""
    with store.work() as work:
        work.people.change(graduates[0].id, paused_until=(now + 9 * DAY).date())
        work.commit()
    broadcast_id = start(store, maren, now)
    send_out(store, now, ZONE)
    send_out(store, now + MINUTE, ZONE)

    assert result(store, broadcast_id).held == {"paused": 1}
    assert status(store, broadcast_id) == "done"


def test_only_those_meant_get_it(store: Store, maren: Member, graduates: list[Person], now: datetime) -> None:
    """Spanish speakers who wrote within sixty days: two of ten."""
    with store.work() as work:
        for person, days in ((graduates[0], 5), (graduates[3], 59), (graduates[6], 61), (graduates[1], 5)):
            work.people.change(person.id, last_heard_at=now - days * DAY)
        work.commit()
    audience = Audience(language="es", going=True)
    start(store, maren, now, audience)

    with store.work(reading=True) as work:
        assert work.broadcasts.sizes(audience, now) == {"es": 2}
    assert send_out(store, now, ZONE) == 2


def test_a_wave_of_opt_outs_stops_it(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """When more than one in twenty leave within a day, nothing more goes out."""
    broadcast_id = start(store, maren, now, per_hour=600)
    send_out(store, now, ZONE)
    with store.work() as work:
        for row in work.outbox.claim(now, "a", HOUR, 10):
            work.outbox.sent(row.id, now, "It is hot.", None)
        for person in graduates[:OPT_OUT_FEWEST]:
            work.people.consent(person.id, False, "stop", "en", "sms", None, "1", now + MINUTE)
        work.commit()

    assert send_out(store, now + 2 * MINUTE, ZONE) == 0
    assert status(store, broadcast_id) == "stopped"
    assert result(store, broadcast_id).opted_out == OPT_OUT_FEWEST


def test_an_opt_out_after_a_day_is_not_laid_to_it(
    store: Store, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """One leaves after 23 hours, one after 25, one had left and come back before: one counts."""
    with store.work() as work:
        for given, hours in ((False, 3), (True, 2)):
            work.people.consent(graduates[2].id, given, "w", "en", "sms", None, "1", now - hours * HOUR)
        work.commit()
    broadcast_id = start(store, maren, now)
    send_out(store, now, ZONE)
    with store.work() as work:
        for row in work.outbox.claim(now, "a", HOUR, 50):
            work.outbox.sent(row.id, now, "It is hot.", None)
        for person, hours in ((graduates[0], 23), (graduates[1], 25)):
            work.people.consent(person.id, False, "stop", "en", "sms", None, "1", now + hours * HOUR)
        work.commit()

    assert result(store, broadcast_id).opted_out == 1


KILLED = """
import os, signal, sys
from datetime import datetime
from scheduler.broadcasts import send_out
from storage.outbox import Outbox
from storage.work import Store
url, moment, last = sys.argv[1], datetime.fromisoformat(sys.argv[2]), int(sys.argv[3])
made, add = 0, Outbox.add
def dying(*args, **more):
    global made
    made += 1
    if made == last:
        os.kill(os.getpid(), signal.SIGKILL)
    return add(*args, **more)
Outbox.add = dying
send_out(Store(url), moment, "America/Denver")
"""


@pytest.mark.usefixtures("graduates")
def test_a_beat_that_is_killed_loses_and_doubles_nothing(
    store: Store, database_url: str, maren: Member, now: datetime
) -> None:
    """Killed at its first, seventh and last message; the beat after makes each of the thirty once."""
    broadcast_id = start(store, maren, now)
    root = Path(__file__).parents[2]
    for last in (1, 7, 30):
        died = subprocess.run(
            [sys.executable, "-c", KILLED, database_url, now.isoformat(), str(last)],
            cwd=root,
            env=os.environ | {"PYTHONPATH": str(root)},
            check=False,
        )
        assert died.returncode == -signal.SIGKILL
    send_out(store, now + 2 * MINUTE, ZONE)
    send_out(store, now + 4 * MINUTE, ZONE)

    engine = create_engine(database_url)
    with engine.connect() as connection:
        each = select(OutboxTable.person_id, func.count()).group_by(OutboxTable.person_id)
        counts = [number for _, number in connection.execute(each)]
    engine.dispose()
    assert counts == [1] * 30
    assert status(store, broadcast_id) == "done"


def test_a_survey_question_goes_with_its_digits(
    store: Store, database_url: str, maren: Member, graduates: list[Person], now: datetime
) -> None:
    """Each in their language, the skip last; the same beat again asks nobody twice."""
    going = Item("Is your pile going?", "¿Sigue tu pila?", (("Yes", "Sí"), ("No", "No")))
    with store.work() as work:
        work.surveys.add("Spring", [going], date(2026, 3, 1), date(2026, 5, 31), maren.id)
        work.commit()

    assert [send_out(store, now, ZONE), send_out(store, now + MINUTE, ZONE)] == [30, 0]
    engine = create_engine(database_url)
    with engine.connect() as connection:
        options = select(OutboxTable.options).where(OutboxTable.person_id == graduates[0].id)
        assert connection.scalar(options) == ["answer:Sí", "answer:No", "skip"]
    engine.dispose()
