"""What was typed into a form, read and bounded; a mistake names its field and the mend."""

from collections.abc import Collection
from datetime import date
from typing import NoReturn, TypeVar

from bot.web.office import Visit, translate
from shared.errors import BadInput

LONGEST_LINE, LONGEST_TEXT = 80, 1000
Word = TypeVar("Word", bound=str)


def line(visit: Visit, field: str, label: str, *, longest: int = LONGEST_LINE) -> str | None:
    """One line, its blanks evened out; None where the field was left empty."""
    return text(visit, field, label, longest=longest, breaks=False)


def text(
    visit: Visit, field: str, label: str, *, longest: int = LONGEST_TEXT, breaks: bool = True
) -> str | None:
    """A text, without signs that nobody can see; None where the field was left empty."""
    typed = visit.form.get(field, "").replace("\r\n", "\n")
    typed = "".join(sign for sign in typed if sign.isprintable() or sign in "\n\t")
    typed = typed.strip() if breaks else " ".join(typed.split())
    if len(typed) > longest:
        wrong(visit, "%s: at most %s letters.", label, longest)
    return typed or None


def needed(visit: Visit, value: str | None, label: str) -> str:
    """A value that must be there."""
    return wrong(visit, "%s: please fill it in.", label) if value is None else value


def number(visit: Visit, field: str, label: str, least: int, most: int) -> int | None:
    """A whole number within bounds; None where the field was left empty."""
    typed = visit.form.get(field, "").strip()
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10 and least <= int(typed) <= most):
        wrong(visit, "%s: a whole number from %s to %s.", label, least, most)
    return int(typed)


def day(visit: Visit, field: str, label: str) -> date | None:
    """A day; None where the field was left empty."""
    typed = visit.form.get(field, "").strip()
    if not typed:
        return None
    try:
        return date.fromisoformat(typed)
    except ValueError:
        wrong(visit, "%s: a day such as 2026-04-18.", label)


def needed_day(visit: Visit, field: str, label: str) -> date:
    """A day that must be there."""
    found = day(visit, field, label)
    return wrong(visit, "%s: please fill it in.", label) if found is None else found


def choice(visit: Visit, field: str, label: str, words: Collection[Word]) -> Word:
    """One of some words."""
    typed = visit.form.get(field, "")
    for word in words:
        if word == typed:
            return word
    return wrong(visit, "%s: choose one of the list.", label)


def wrong(visit: Visit, sentence: str, label: str, *values: object) -> NoReturn:
    """Raise BadInput in the reader's language."""
    raise BadInput(translate(visit.language, sentence) % (translate(visit.language, label), *values))
