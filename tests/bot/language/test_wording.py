"""What we say: both catalogues complete and equal, short, kind, and cheap on SMS."""

import re
import statistics
import string
from datetime import UTC, date, datetime
from typing import get_args

import pytest

from bot.channels.sms_text import alphabet, fold, parts
from bot.language.wording import Voice, catalogue, option_label, render
from scheduler.nudges import QUESTIONS
from scheduler.sender import Shows
from shared.care import WHYS
from shared.cautions import Caution
from shared.materials import HOWS, REASONS
from shared.pile import Stage
from storage.outbox import Line, OutRow
from storage.people import Person

EN, ES = catalogue("en"), catalogue("es")
KEYS = [message.id if isinstance(message.id, str) else message.id[0] for message in EN if message.id]
TODAY = date(2026, 6, 10)
NEVER = re.compile(
    r"certified|weed.?free|sterile|guarantee|you (should have|forgot|failed)|certificad|libre de semillas"
    r"|estéril|garantiz|debiste|olvidaste",
    re.IGNORECASE,
)
LONGEST: dict[str, object] = {
    "c": 71.1, "celsius": 71.1, "fahrenheit": 71.1, "dc": 11.1, "l": 113.5, "vol": 75.7, "bulk": 1135.6,
    "m": 1.22, "m2": 13.4,
    "on": "2026-09-23", "about": "2027-09-23", "at": "18:30",
    "days": 28, "weeks": 12, "hours": 240, "minutes": 45, "pct": 0.87,
}  # fmt: skip
"""A value near the longest that each kind of blank takes, by the end of its name."""


COUNTS = ("n", "age", "records", "sent", "received")


def templates(key: str) -> list[tuple[str, str]]:
    """(language, template) of a key, plural forms apart."""
    found = []
    for language, entries in (("en", EN), ("es", ES)):
        entry = entries.get(key)
        texts = entry.string if isinstance(entry.string, tuple) else (entry.string,)
        found += [(language, text) for text in texts]
    return found


def blanks(template: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


def filled(language: str, key: str) -> str:
    """The text of a key with long values in its blanks."""
    values = {}
    for name in blanks(templates(key)[0][1]):
        kind = "days" if name.startswith("days_") else name.rsplit("_", 1)[-1]
        if kind == "material":
            values[name] = "grass_clippings"
        elif kind == "word":
            values[name] = "wed"
        elif name == "facts":
            values[name] = [Line("read.temperature", {"core_c": 60.0}), Line("read.moisture.dry", {})]
        else:
            values[name] = LONGEST.get(
                kind, 12 if name in ("n", "age", "records", "sent", "received") else "Larkmoor"
            )
    values.setdefault("n", 2)
    return Voice(language, "f", TODAY).line(Line(key, values))  # type: ignore[arg-type]


def test_both_languages_hold_the_same_keys() -> None:
    """Every message exists in English and in Spanish."""
    assert {str(m.id) for m in EN} == {str(m.id) for m in ES}
    assert all(text for key in KEYS for _, text in templates(key))


def test_every_code_of_the_core_has_words() -> None:
    """Each reason for an action, each reason and way of a material, each caution and stage can be said."""
    codes = [f"why.{do}.{why}" for do, why in WHYS]
    codes += [f"do.{do}.{when}" for do, _ in WHYS if do != "keep_away" for when in ("now", "on")]
    codes += [f"reason.{code}" for code in REASONS] + [f"how.{code}" for code in HOWS]
    codes += [f"caution.{code}" for code in get_args(Caution)] + [f"stage.{code}" for code in get_args(Stage)]

    assert sorted(set(codes) - set(KEYS)) == []


def test_every_nudge_and_quick_answer_has_words() -> None:
    """What the scheduler can ask, and every answer that it offers."""
    codes = [f"nudge.{key}" for key in QUESTIONS]
    codes += [f"option.{option}" for _, options in QUESTIONS.values() for option in options]

    assert sorted(set(codes) - set(KEYS)) == []


@pytest.mark.parametrize("key", KEYS)
def test_both_languages_have_the_same_blanks(key: str) -> None:
    """A value that one language shows, the other shows too."""
    assert len({frozenset(blanks(text)) for _, text in templates(key)}) == 1


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_message_can_be_worded(language: str) -> None:
    """No key fails for a value's kind, and none leaves a brace behind."""
    for key in KEYS:
        assert not re.search(r"[{}]", filled(language, key)), key


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_message_promises_safety_or_scolds(language: str) -> None:
    """Home piles prove no full kill, and blame makes people stop reading."""
    assert [key for key in KEYS if NEVER.search(filled(language, key))] == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_sentences_are_short(language: str) -> None:
    """Median sentence at most 12 words (plain-language practice for low literacy)."""
    sentences = [
        s for key in KEYS for s in re.split(r"[.!?:]\s", filled(language, key)) if len(s.split()) > 2
    ]
    assert statistics.median(len(sentence.split()) for sentence in sentences) <= 12


@pytest.mark.parametrize("key", [key for key in KEYS if key.startswith("nudge.")])
@pytest.mark.parametrize("language", ["en", "es"])
def test_a_nudge_fits_two_segments_at_most(language: str, key: str) -> None:
    """With long values and its digits spelt out, in the basic alphabet."""
    text = fold(filled(language, key))
    assert alphabet(text) == "gsm"
    assert len(parts(text)) <= 2


def test_spanish_folds_to_the_basic_alphabet_on_sms() -> None:
    """á í ó ú go plain on SMS, while é, ñ, ü, ¿ and ¡ stay (3GPP TS 23.038)."""
    assert fold("¿Está más húmeda mañana? ¡Qué vergüenza!") == "¿Esta mas humeda mañana? ¡Qué vergüenza!"


@pytest.mark.parametrize(
    ("language", "units", "name", "value", "text"),
    [
        ("en", "f", "core_c", 53.3, "128 F"),
        ("en", "c", "core_c", 53.3, "53 C"),
        ("en", "f", "core_celsius", 57.0, "57 C"),
        ("es", "c", "core_fahrenheit", 54.4, "130 F"),
        ("es", "c", "wide_m", 1.0, "1 metro"),
        ("en", "f", "hot_hours", 30, "30 hours"),
        ("en", "f", "hot_hours", 240, "10 days"),
        ("en", "f", "shift_weeks", 31, "7 months"),
        ("en", "f", "add_l", 18.9, "5 gallons"),
        ("es", "f", "add_l", 3.8, "1 galón"),
        ("es", "c", "add_l", 20.0, "20 litros"),
        ("en", "f", "top_m", 0.9144, "3 feet"),
        ("es", "c", "top_m", 0.9144, "91 centímetros"),
        ("en", "f", "bed_m2", 3.3445, "36 square feet"),
        ("en", "f", "next_on", "2026-06-11", "tomorrow"),
        ("en", "f", "next_on", "2026-06-13", "Saturday"),
        ("es", "f", "next_on", "2026-06-13", "el sábado"),
        ("en", "f", "next_on", "2026-08-02", "August 2"),
        ("es", "f", "next_on", "2026-08-02", "el 2 de agosto"),
        ("en", "f", "by_about", "2026-08-22", "late August"),
        ("es", "f", "by_about", "2026-08-05", "principios de agosto"),
        ("es", "f", "what_material", "dry_leaves", "hojas secas"),
        ("en", "f", "cure_weeks", 1, "1 week"),
    ],
)
def test_values_are_written_as_their_names_say(
    language: str, units: str, name: str, value: object, text: str
) -> None:
    """Units, dates and counts follow the person; words and plurals are those of CLDR."""
    assert Voice(language, units, TODAY).value(name, value) == text  # type: ignore[arg-type]


def row(channel: str, options: tuple[str, ...]) -> OutRow:
    """An outbox row with one line, for a channel."""
    at = datetime(2026, 6, 10, 16, tzinfo=UTC)
    return OutRow(
        id=7, person_id=1, pile_id=None, kind="nudge", lines=(Line("welcome", {}),), options=options,
        opens=None, reason={}, unique_key="k", due_at=at, expires_at=None, status="claimed", attempts=0,
        next_try_at=at, holder=None, lease_until=None, channel=channel, address="a", channel_message_id=None,
        text=None, sent_at=None, why_not=None, receipts=None,
    )  # fmt: skip


def ana(channel: str) -> Person:
    """A person on a channel."""
    return Person(1, "Ana", "en", "f", "America/Denver", "joined", channel, "a")


@pytest.mark.parametrize(
    ("language", "last", "words"),
    [
        ("en", "2027-04-28", "Likely ready between early June and late April 2027."),
        ("en", "2027-06-28", "Likely ready between early June 2026 and late June 2027."),
        ("es", "2027-06-28", "principios de junio de 2026 y fines de junio de 2027"),
    ],
)
def test_a_range_over_a_year_leaves_no_month_in_doubt(language: str, last: str, words: str) -> None:
    """Where both ends might be of one year, each is told with its own."""
    range_ = Line("range.rough", {"first_about": "2026-06-05", "last_about": last})

    assert words in Voice(language, "f", date(2026, 4, 13)).line(range_)  # type: ignore[arg-type]


def test_a_phone_without_buttons_gets_digits() -> None:
    """Every quick answer can be given by one digit."""
    sent = render(row("sms", ("turned", "not_turned")), ana("sms"), datetime(2026, 6, 10, 16, tzinfo=UTC))

    assert "1 turned, 2 not yet" in sent.text
    assert sent.options == ()


def test_a_button_carries_its_own_message() -> None:
    """A week later it still means what it meant: the row and the number, not the open question."""
    sent = render(
        row("telegram", ("turned", "not_turned")),
        ana("telegram"),
        datetime(2026, 6, 10, 16, tzinfo=UTC),
        Shows(letters=True, buttons=True),
    )

    assert sent.options == (("turned", "7:1"), ("not yet", "7:2"))
    assert "1 turned" not in sent.text


def test_a_choice_can_carry_a_reading() -> None:
    """A doubtful number is offered as what it may have meant."""
    assert option_label(Voice("en", "f", TODAY), "reading:45.0") == "113 F"
