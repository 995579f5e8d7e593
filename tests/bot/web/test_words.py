"""Every sentence of the staff's pages is there in Spanish, and every code that is shown has words in both."""

import re
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, date, datetime
from importlib.resources import files

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po
from starlette.testclient import TestClient

from bot.language.meaning import TOPICS
from bot.staff.export import dictionary
from bot.staff.figures import figures
from bot.staff.report import sections
from bot.web.office import translate
from storage.reports import SurveyItem
from storage.staff import Member
from storage.staff_models import Role


def said_in_templates() -> set[str]:
    """Every sentence that a template hands to gettext."""
    found = extract_from_dir(str(files("bot.web") / "templates"), method_map=[("**.html", "jinja2")])
    return {message if isinstance(message, str) else message[0] for _, _, message, _, _ in found if message}


def said_in_reports() -> set[str]:
    """Every sentence that the yearly report says of an empty year with one survey and some food kept back."""
    said: set[str] = set()
    found = figures(2026, datetime(2027, 1, 1, tzinfo=UTC), date(2026, 12, 31), [], [], [], [], [], [], 0)
    found["diversion"]["new"] |= {"lists": ["a list"], "spared_t": [0.1, 0.2]}
    item = {"survey": "", "text_en": "", "text_es": "", "asked": 1, "skipped": 0, "answers": {"1": 1}}

    def say(sentence: str) -> str:
        said.add(sentence)
        return sentence

    for units in ("f", "c"):
        sections({**found, "surveys": [item]}, say, "en_US", units)
    return said


with (files("bot.language") / "es" / "pages.po").open("rb") as file:
    SPANISH = read_po(file, locale="es_US")


def said_of_files() -> set[str]:
    """What the page of the archive says of each file."""
    return {file.about for file in dictionary()}


@pytest.mark.parametrize(
    "sentence", sorted((said_in_templates() | said_in_reports() | said_of_files()) - {""})
)
def test_every_sentence_has_its_spanish(sentence: str) -> None:
    """A sentence without a translation would stand in English on a Spanish page."""
    entry = SPANISH.get(sentence)
    said = () if entry is None else (entry.string,) if isinstance(entry.string, str) else entry.string

    assert sentence in SAME_IN_BOTH or (said and all(said) and sentence not in said)
    assert all(sentence.count("%") == spanish.count("%") for spanish in said)


SAME_IN_BOTH = {"English", "Español", "no"}


def test_what_a_survey_was_answered_is_said_in_the_readers_language() -> None:
    """Answers are kept by their English words; a Spanish report says them in Spanish, an English one not."""
    found = figures(2026, datetime(2027, 1, 1, tzinfo=UTC), date(2026, 12, 31), [], [], [], [], [], [], 0)
    item = SurveyItem(
        "Autumn", "Still going?", "¿Sigue?", 3, 0, {"yes": 2, "no": 1}, {"yes": "sí", "no": "no"}
    )
    found["surveys"] = [asdict(item)]

    spanish, english = (sections(found, str, locale, "f")[-2] for locale in ("es_US", "en_US"))

    assert [row[:2] for row in spanish.rows] == [("sí", "2"), ("no", "1")]
    assert [row[:2] for row in english.rows] == [("yes", "2"), ("no", "1")]


@pytest.mark.parametrize("topic", TOPICS)
def test_every_topic_has_words(topic: str) -> None:
    """A topic is shown in words, never as the code it has in our records."""
    assert "topic." not in translate("en", f"topic.{topic}")
    assert translate("es", f"topic.{topic}") not in (f"topic.{topic}", translate("en", f"topic.{topic}"))


@pytest.mark.parametrize(
    "wrong",
    [
        "/broadcasts/99",
        "/surveys/99",
        "/rosters/99",
        "/readings/99",
        "/people/99",
        "/classes/NONE99",
        "/reports/1999",
        "/reports/frozen/99",
        "/reports/2026.xls",
    ],
)
def test_a_mistake_is_told_in_spanish_with_its_values(
    browser: TestClient, sign_in: Callable[[Role], Member], wrong: str
) -> None:
    """What the programme says of a mistake is never left in English on a Spanish page."""
    sign_in("coordinator")
    browser.cookies.set("language", "es")
    page = browser.get(wrong)

    said = re.search(r'role="alert">(.*?)</', page.text)
    assert page.status_code == 400
    assert said is not None
    assert not re.search(r"\b(there|this|no such|choose|the)\b", said[1], re.IGNORECASE)
