"""The shipped seasons, run through the real program: each reads like a brief, helpful neighbour."""

import re
from collections import defaultdict
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest

from bot.app import rehearse
from bot.channels.sms_text import parts
from bot.rehearse import US, Message

HERE = Path(__file__).parent
SCRIPTS = sorted(HERE.glob("*.txt"))
LARKMOOR = HERE.parents[1] / "deploy" / "larkmoor.toml"
EXEMPT = ("recheck", "tool_here", "tool_gone")
NOT_FOLLOWED = ("I did not follow", "No te entendí", "No te entendi")


@pytest.fixture(scope="module", params=SCRIPTS, ids=lambda path: path.stem)
def season(request: pytest.FixtureRequest) -> list[Message]:
    """The transcript of one script."""
    path: Path = request.param
    return played(path)


@cache
def played(path: Path) -> list[Message]:
    """What goes by when a script is played, in Larkmoor County."""
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
    """None within 24 hours of the person's own words, but a recheck of great heat, or what they asked for."""
    last: dict[str, Message] = {}
    for message in season:
        if message.to == US:
            last[message.sender] = message
        elif message in unprompted(season) and not str(message.why).startswith(EXEMPT):
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


WINDOWS = {
    # six kinds of pile: what is prompted for, by its reason; from which day of the script to which; how often
    "good_hot_pile": {
        "first_reading": (2, 3, 1, 1),
        "reading": (4, 60, 0, 4),
        "cooling_food_left": (4, 45, 2, 5),
        "reheat": (15, 70, 0, 4),
        "curing": (40, 85, 1, 1),
        "ready": (60, 115, 1, 1),
    },
    "dry_and_neglected": {
        "first_reading": (2, 3, 1, 1),
        "ants": (3, 12, 1, 2),
        "dry": (3, 40, 0, 3),
        "reading": (6, 70, 0, 4),
        "cooling_food_left": (9, 60, 1, 4),
        "reheat": (20, 100, 0, 3),
        "curing": (35, 100, 1, 1),
        "restart": (20, 35, 0, 1),
        "ready": (60, 135, 0, 1),
    },
    "add_as_you_go": {
        "flies": (5, 40, 1, 2),
        "food_left": (5, 150, 1, 6),
        "reading": (20, 150, 0, 4),
        "restart": (70, 110, 0, 1),
        "ready": (60, 180, 0, 1),
    },
    "without_thermometer": {
        "first_reading": (2, 3, 1, 1),
        "reading": (8, 40, 1, 4),
        "hot_mixing": (5, 20, 0, 2),
        "cooling_food_left": (8, 50, 1, 4),
        "rain": (8, 60, 0, 2),
        "dry": (8, 60, 0, 2),
        "reheat": (10, 60, 0, 3),
        "curing": (40, 90, 1, 1),
        "ready": (80, 140, 1, 1),
    },
    "cold_winter_start": {
        "first_reading": (2, 3, 1, 1),
        "rain": (2, 20, 0, 1),
        "reading": (5, 160, 0, 5),
        "stalled_food_left": (8, 25, 0, 2),
        "sleep": (14, 40, 1, 1),
        "wake": (120, 165, 0, 1),
        "cooling_food_left": (140, 165, 0, 2),
    },
    "holiday": {
        "first_reading": (2, 3, 1, 1),
        "reading": (4, 60, 0, 3),
        "cooling_food_left": (4, 60, 1, 3),
        "reheat": (8, 60, 0, 3),
        "back": (27, 28, 1, 1),
        "curing": (30, 70, 0, 1),
    },
}


@pytest.mark.parametrize("kind", WINDOWS)
def test_each_kind_of_pile_gets_its_prompts_in_their_windows(kind: str) -> None:
    """Through the real forecast: each prompt no sooner, later or oftener than is right for it, and no other.

    Source: the weeks of a batch pile as extension pages tell them (first heat on days 1 to 4, turns while it
    loses its heat, the cure after two to three months); the margins are ours.
    """
    season = played(HERE / f"{kind}.txt")
    first = season[0].at.date()
    days: dict[str, list[int]] = defaultdict(list)
    for message in unprompted(season):
        days[str(message.why).partition(":")[0]].append((message.at.date() - first).days)

    assert set(days) <= set(WINDOWS[kind])
    for reason, (soonest, latest, fewest, most) in WINDOWS[kind].items():
        assert fewest <= len(days[reason]) <= most, (reason, days[reason])
        assert all(soonest <= day <= latest for day in days[reason]), (reason, days[reason])


def test_a_pile_that_sleeps_is_left_alone_until_spring() -> None:
    """Between the word that winter has it and the end of February nothing is said."""
    season = played(HERE / "cold_winter_start.txt")
    slept = next(message.at for message in unprompted(season) if str(message.why).startswith("sleep"))

    later = [message.at for message in unprompted(season) if message.at > slept]
    assert [at for at in later if at.month in (12, 1, 2)] == []


def test_a_pile_that_grows_is_never_told_to_cure() -> None:
    """Nothing is finished of what is fed, but its bottom."""
    season = played(HERE / "add_as_you_go.txt")

    assert [message for message in unprompted(season) if str(message.why).startswith("curing")] == []
