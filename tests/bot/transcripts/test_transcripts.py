"""Conversations as they should go; `pytest tests/bot/transcripts -rP` prints them all to be read aloud."""

import re
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from bot.channels.sms_text import parts
from bot.conversation.respond import Desk
from bot.outlook import Outlooks
from bot.profile import read_profile
from storage.work import Store
from tests.bot.transcripts.stage import Scene, Stage, answers, as_noted, read

HERE = Path(__file__).parent
PROFILE = read_profile(HERE.parents[2] / "deploy" / "larkmoor.toml")
SCENES = [
    pytest.param(path.parent.name, scene, id=f"{path.parent.name}/{path.stem}: {scene.title}")
    for path in sorted(HERE.glob("*/*.txt"))
    for scene in read(path)
]
PHONES = count(1_000_000)
QUOTED = re.compile(r'"[^"]*"')
QUESTION = re.compile(r"\?")
BY_NUMBER = ("ask.buckets", "ask.household", "ask.postcode", "move.staff")
"""Questions whose answer is a number of its own, 0 to skip; and one that wants none."""


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, Desk]]:
    """One database for all situations, each of which has a phone and piles of its own."""
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('transcripts') / 'town.db'}", secret="a key for tests")
    store.upgrade()
    yield store, Desk(PROFILE, Outlooks(PROFILE))
    store.close()


@pytest.mark.parametrize(("language", "scene"), SCENES)
def test_the_conversation_goes_as_written(town: tuple[Store, Desk], language: str, scene: Scene) -> None:
    """Each message is answered by the lines, quick answers, records and alerts that the transcript names."""
    stage = Stage(*town, f"+1505{next(PHONES)}", language)
    for turn, rows, alerts, records in stage.play(scene):
        print(f"{scene.title}\n  > {turn.text}")
        for row in rows:
            print(f"  < {row.text}")
        keys = [line.key for row in rows for line in row.lines]
        assert turn.lines is None or answers(turn.lines, keys), f"{turn.text!r}: {', '.join(keys)}"
        assert [line.key for line in alerts] == turn.alerts
        assert turn.options is None or [option for row in rows for option in row.options] == turn.options
        today = stage.now.date()
        assert turn.records is None or [as_noted(record, today) for record in records] == turn.records
        assert len(rows) <= 1
        for row in rows:
            text = row.text or ""
            assert len(parts(text)) <= 4, "too long for a text"
            asked = len(QUESTION.findall(QUOTED.sub("", text)))
            assert asked <= 1, "more than one thing asked"
            assert not asked or row.options or any(line.key in BY_NUMBER for line in row.lines), (
                "no digit answers"
            )
