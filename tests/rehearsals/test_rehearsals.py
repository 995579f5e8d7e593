"""The shipped seasons, run through the real program: each reads like a brief, helpful neighbour."""

import re
from collections import defaultdict
from datetime import timedelta
from pathlib import Path

import pytest

from bot.app import rehearse
from bot.channels.sms_text import parts
from bot.rehearse import US, Message

HERE = Path(__file__).parent
SCRIPTS = sorted(HERE.glob("*.txt"))
LARKMOOR = HERE.parents[1] / "deploy" / "larkmoor.toml"
NOT_FOLLOWED = ("I did not follow", "No te entendí", "No te entendi")


@pytest.fixture(scope="module", params=SCRIPTS, ids=lambda path: path.stem)
def season(request: pytest.FixtureRequest) -> list[Message]:
    """The transcript of one script."""
    path: Path = request.param
    with pytest.MonkeyPatch.context() as environment:
        environment.setenv("WARMHEAP_PROFILE", str(LARKMOOR))
        return list(rehearse(path.read_text(encoding="utf-8"), path.stem))


def unprompted(season: list[Message]) -> list[Message]:
    """What the program sent of itself, alerts to the staff apart."""
    ours = [message for message in season if message.sender == US and message.why]
    return [message for message in ours if not str(message.why).startswith(("asked", "alert"))]


def test_everything_said_is_followed(season: list[Message]) -> None:
    """No line of a shipped season meets "I did not follow"."""
    assert [message.text for message in season if message.text.startswith(NOT_FOLLOWED)] == []


def test_nobody_is_written_to_at_night(season: list[Message]) -> None:
    """Unprompted messages come between nine in the morning and eight in the evening, in each one's zone."""
    assert [message for message in unprompted(season) if not 9 <= message.at.hour < 20] == []


def test_one_unprompted_message_a_day_at_most(season: list[Message]) -> None:
    """Two nudges on one day are one too many."""
    days = [(message.to, message.at.date()) for message in unprompted(season)]
    assert len(days) == len(set(days))


def test_nudges_keep_away_from_somebody_who_has_just_written(season: list[Message]) -> None:
    """None within 24 hours of the person's own words, a recheck of a dangerous heat apart."""
    last: dict[str, Message] = {}
    for message in season:
        if message.to == US:
            last[message.sender] = message
        elif message in unprompted(season) and not str(message.why).startswith("recheck"):
            before = last.get(message.to)
            assert before is None or message.at - before.at >= timedelta(hours=24)


def test_four_unanswered_are_followed_by_silence(season: list[Message]) -> None:
    """After four nudges in a row without a word there is at most one friendly restart."""
    in_a_row: dict[str, int] = defaultdict(int)
    for message in season:
        if message.to == US:
            in_a_row[message.sender] = 0
        elif message in unprompted(season):
            in_a_row[message.to] += 1
            assert in_a_row[message.to] <= 5


def test_texts_on_sms_stay_short(season: list[Message]) -> None:
    """Nudges fit two segments, answers four."""
    for message in season:
        if message.sender == US and message.channel == "sms":
            assert len(parts(message.text)) <= (2 if message in unprompted(season) else 4), message.text


def test_no_sentence_is_said_twice_in_one_message(season: list[Message]) -> None:
    """A message never repeats itself."""
    for message in season:
        sentences = re.split(r"(?<=[.!?])\s", message.text)
        assert len(sentences) == len(set(sentences)), message.text
