"""The same conversations over every channel: the same records, the same meaning, only written otherwise.

Each line is a moment [UTC], who speaks, and what they say: words, `[1]` for the first quick answer (tapped
where there are buttons, typed as a digit elsewhere), `(photo)` with its caption where pictures can be sent,
or `(name)` where the channel does not tell it. `$code` is the last code that the program has shown; `*` lets
the planner look.
"""

import asyncio
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, select

from bot.app import Warmheap
from bot.language.wording import LOCALES, Voice
from bot.profile import Profile
from bot.rehearse import SimulatedClock
from storage.classes import ClassRow
from storage.models import ConsentTable, KeeperTable, OutboxTable, PersonTable, RecordTable
from storage.outbox import Line
from storage.staff_models import HelpTable
from storage.work import Store
from tests.bot.channels.conftest import Phone
from tests.bot.channels.ways import WAYS, Bench, Way

JOINED = """
    2026-04-11 09:00 ana: hi
    2026-04-11 09:01 ana: [1]
"""
BUILT = f"""{JOINED}
    2026-04-11 09:03 ana: built a pile today, 4x4x4 ft, 60 buckets grass, 60 buckets dry leaves, in a bin
    2026-04-11 09:04 ana: [1]
    2026-04-11 09:05 ana: [1]
"""
CONVERSATIONS = {
    "a season": f"""{BUILT}
        2026-04-13 19:00 ana: 141, looks right
        2026-04-15 18:00 ana: temp 150 and a bit dry
        2026-04-16 18:30 ana: added like 4 gal n turned it 128 now
        2026-04-18 09:01 ana: why?
        2026-04-22 18:00 *
        2026-04-24 17:30 ana: no i meant 118
        2026-04-25 10:00 ana: can i add orange peels
        2026-04-29 18:00 *
        2026-05-02 10:00 ana: STOP
        2026-05-20 18:00 *
    """,
    "consent, opt-out and coming back": """
        2026-04-11 09:00 ana: hello
        2026-04-11 09:01 ana: [2]
        2026-04-11 09:02 ana: temp 128
        2026-04-12 09:00 ana: start
        2026-04-12 09:01 ana: [2]
        2026-04-13 09:00 ana: please stop texting me
        2026-04-13 09:01 ana: stop
        2026-04-14 09:00 ana: start
    """,
    "a class code, and who is there": """
        2026-04-11 08:00 ana: HELP
        2026-04-11 09:00 ana: FIG22
        2026-04-11 09:01 ana: [1]
        2026-04-11 10:00 beto: fig22 si quiero
        2026-04-11 10:01 beto: [1]
        2026-04-11 10:02 beto: ayuda
    """,
    "corrections and danger": f"""{BUILT}
        2026-04-13 19:00 ana: 114
        2026-04-13 19:01 ana: sorry, 141
        2026-04-14 19:00 ana: turned it
        2026-04-14 19:01 ana: undo
        2026-04-15 18:00 ana: 163
        2026-04-16 18:00 ana: smoke coming out of it!!
    """,
    "one shared pile": f"""{BUILT}
        2026-04-11 09:06 ana: can beto share the pile
        2026-04-11 09:07 ana: (name) Ana
        2026-04-11 12:00 beto: $code
        2026-04-11 12:01 beto: [1]
        2026-04-11 12:02 beto: (name) Beto
        2026-04-13 18:00 beto: 142
        2026-04-16 10:00 beto: turned it
        2026-04-16 10:12 ana: who turned it last?
        2026-04-20 18:00 *
    """,
    "a photo": f"""{BUILT}
        2026-04-13 19:00 ana: (photo) looks like this
    """,
    "a long message in Spanish": """
        2026-04-11 09:00 ana: hola
        2026-04-11 09:01 ana: [1]
        2026-04-11 09:03 ana: armé la pila hoy en la mañana, mide 1.2 m por 1.2 m por 1.2 m, le puse 60 cubetas de pasto y 60 cubetas de hojas secas, está en un cajón y le eché agua con la manguera. ¿Qué más tengo que hacer, y cuándo la tengo que voltear?
        2026-04-11 09:04 ana: [1]
    """,  # noqa: E501
}
FORCED = {"ask.name", "name.noted"}
"""Where a channel does not tell a writer's name, the writer is asked for it."""
KNOWN = {
    "records": select(
        RecordTable.kind,
        RecordTable.on,
        RecordTable.hour,
        RecordTable.data,
        RecordTable.said_by,
        RecordTable.replaces_id,
    ).order_by(RecordTable.id),
    "said": select(
        OutboxTable.person_id, OutboxTable.kind, OutboxTable.lines, OutboxTable.options, OutboxTable.status
    ).order_by(OutboxTable.id),
    "people": select(
        PersonTable.language, PersonTable.units, PersonTable.standing, PersonTable.class_code
    ).order_by(PersonTable.id),
    "ledger": select(
        ConsentTable.person_id,
        ConsentTable.given,
        ConsentTable.language,
        ConsentTable.class_code,
        ConsentTable.version,
        ConsentTable.at,
    ).order_by(ConsentTable.id),
    "keepers": select(KeeperTable.pile_id, KeeperTable.person_id, KeeperTable.number).order_by(
        KeeperTable.person_id
    ),
    "calls for a human": select(HelpTable.person_id, HelpTable.cause).order_by(HelpTable.id),
}
LINE = re.compile(r"(\d{4}-\d\d-\d\d \d\d:\d\d) (?:(\w+): (.*)|\*)")


def lines_of(conversation: str) -> Iterator[tuple[datetime, str | None, str]]:
    """When, who and what; nobody where the planner looks."""
    for line in filter(None, map(str.strip, conversation.splitlines())):
        match = LINE.fullmatch(line)
        assert match, line
        yield datetime.fromisoformat(match[1]).replace(tzinfo=UTC), match[2], match[3] or ""


async def live(store: Store, clock: SimulatedClock, way: Way, conversation: str) -> None:
    """The conversation, through the real program: one process for each channel that the way has."""
    programs = {
        channel: Warmheap(store, Profile(), [channel], clock) for channel in set(way.channels.values())
    }
    for moment, who, words in lines_of(conversation):
        clock.at = moment
        if who is None:
            for program in programs.values():
                await asyncio.to_thread(program.plan, moment)
        else:
            if words.startswith("["):
                incoming = await way.pick(who, int(words.strip("[]")))
            elif words.startswith("(name) ") and way.names:
                continue
            elif words.startswith("(photo) "):
                assert way.show is not None
                incoming = await way.show(who, words.removeprefix("(photo) "))
            else:
                incoming = await way.say(
                    who, words.removeprefix("(name) ").replace("$code", last_code(store))
                )
            await programs[way.channels[who]].hear(incoming)
        for program in programs.values():
            await program.send()


def last_code(store: Store) -> str:
    """The last code that anybody was shown."""
    with store.work(reading=True) as work:
        shown = [
            line.values["code"]
            for row in work.outbox.thread(1, 99)
            for line in row.lines
            if "code" in line.values
        ]
    return shown[0] if shown else ""


def remembered(url: str) -> tuple[dict[str, list[Any]], list[tuple[str, str]], list[tuple[str, str]]]:
    """What is known afterwards and was meant; the texts, with their people; how and to what they agreed."""
    engine = create_engine(url)
    with engine.connect() as connection:
        found = {name: [tuple(row) for row in connection.execute(rows)] for name, rows in KNOWN.items()}
        sent = select(OutboxTable.person_id, OutboxTable.text).where(OutboxTable.status == "sent")
        texts = [(("ana", "beto")[who - 1], text) for who, text in connection.execute(sent)]
        agreed = [
            tuple(row) for row in connection.execute(select(ConsentTable.channel, ConsentTable.wording))
        ]
    engine.dispose()
    found["said"] = [row for row in map(meant, found["said"]) if row[2]]
    return found, texts, agreed


def meant(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """An outbox row without what the channel forces and what chance makes."""
    who, kind, lines, options, status = row
    said = [(key, values | {"code": "$code"} if "code" in values else values) for key, values in lines]
    kept = [(key, values) for key, values in said if key not in FORCED]
    return who, kind, kept, options if kept == said else [], status


@pytest.mark.parametrize("name", CONVERSATIONS)
async def test_a_conversation_means_the_same_over_every_channel(
    name: str, tmp_path: Path, migrated_file: Path, phone: Phone, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same records, people, ledger and sentences; each phone has its texts and agreed to what it read."""
    clock, found = SimulatedClock(datetime(2026, 4, 11, tzinfo=UTC)), {}
    posters = {Voice(language, "f", clock.at.date()).line(Line("poster.small", {})) for language in LOCALES}
    for channel, way_of in WAYS.items():
        url = f"sqlite:///{tmp_path / channel}.sqlite"
        (tmp_path / f"{channel}.sqlite").write_bytes(migrated_file.read_bytes())
        store = Store(url)
        with store.work() as work:
            work.classes.add(ClassRow("FIG22", "en", "America/Denver", seats=30))
            work.commit()
        async with way_of(Bench(clock, tmp_path, phone, capsys)) as way:
            told = way.show is not None or "(photo)" not in CONVERSATIONS[name]
            if told:
                await live(store, clock, way, CONVERSATIONS[name])
        store.close()
        if not told:
            continue
        found[channel], texts, agreed = remembered(url)
        for who, text in texts:
            assert "".join(text.split()) in "".join("".join(way.got[who]).split()), (channel, who)
        assert {by for by, _ in agreed} == {next(iter(way.channels.values())).name}
        assert {wording for _, wording in agreed} <= {text for _, text in texts} | posters

    expected, *others = found.values()
    assert expected["said"]
    for other in others:
        assert other == expected
