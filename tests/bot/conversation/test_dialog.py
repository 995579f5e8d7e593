"""Short answers: a digit, a yes, a "done" mean what the open question makes of them."""

from datetime import date

import pytest

from bot.conversation.dialog import SHORT, as_said, picked
from bot.language.meaning import Meaning
from bot.language.wording import Voice, catalogue, option_label

TODAY = date(2026, 6, 10)
TURN = {"ask": "turn", "pile": 1, "options": ["turned", "not_turned", "cannot_turn"]}


@pytest.mark.parametrize(
    ("meaning", "option"),
    [
        (Meaning("en", number=1), "turned"),
        (Meaning("en", number=3), "cannot_turn"),
        (Meaning("en", bare="done"), "turned"),
        (Meaning("en", bare="yes"), "turned"),
        (Meaning("es", bare="not_yet"), "not_turned"),
        (Meaning("en", number=4), None),
        (Meaning("en", number=135), None),
        (Meaning("en", number=1.5), None),
        (Meaning("en", bare="other_one"), None),
    ],
)
def test_a_short_answer_picks_an_option_of_the_open_question(meaning: Meaning, option: str | None) -> None:
    """Digits count the options shown; words go by the table; anything else picks nothing."""
    assert picked(TURN, meaning) == option


def test_a_short_answer_to_nothing_picks_nothing() -> None:
    """Without an open question "yes" stays a bare yes."""
    assert picked({}, Meaning("en", bare="yes")) is None


def test_a_picked_option_reads_as_if_it_had_been_said() -> None:
    """There is one way in: "1" and "turned it" end up as the same record."""
    said = as_said("turned", Meaning("en", number=1), TODAY)

    assert [(fact.record.kind, fact.record.on) for fact in said.facts] == [("turned", TODAY)]
    assert said.number is None


@pytest.mark.parametrize("option", ["reading:45.0", "as_c:45.0", "as_f:45.0", "deep:45.0", "near_top:45.0"])
def test_an_option_can_carry_its_reading(option: str) -> None:
    """What a doubtful number meant is recorded as a core reading, or as one from the edge."""
    (fact,) = as_said(option, Meaning("en", number=2), TODAY).facts

    assert fact.record.core_c == 45.0
    assert fact.record.edge is option.startswith("near_top")


OPTIONS = {
    str(message.id).partition(".")[2] for message in catalogue("en") if str(message.id).startswith("option.")
}
WITH_A_READING = {"reading", "as_c", "as_f", "deep", "near_top"}


@pytest.mark.parametrize("option", sorted((OPTIONS - WITH_A_READING - {"skip"}) | set(SHORT.values())))
def test_every_quick_answer_means_something(option: str) -> None:
    """No digit and no short answer leads nowhere, and each can be shown in both languages."""
    if option.startswith("before."):  # kept as it is picked, by `questions.chosen`
        return
    said = as_said(option, Meaning("en"), TODAY)

    assert said.facts or said.asks or said.setup or said.danger or said.bare
    assert option_label(Voice("en", "f", TODAY), option)
    assert option_label(Voice("es", "f", TODAY), option)
