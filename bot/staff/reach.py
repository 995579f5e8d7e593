"""What a text to many costs before it goes: people, parts of texts, money, and those it will drive away."""

from collections.abc import Mapping
from dataclasses import dataclass

from bot.channels.sms_text import fold, parts
from bot.language.meaning import Language
from bot.language.wording import Voice
from storage.broadcasts import Broadcast
from storage.outbox import Line

OPT_OUTS = (0.013, 0.018, 0.023)
"""Shares that leave at one text that is no reminder: kindly worded, on average, and advertising (a trial of
recruitment texts); a text that serves its reader may cost fewer."""


@dataclass(frozen=True, slots=True)
class Cost:
    """Whom it reaches and at what price.

    segments    parts of a text, each charged for, for one reader of each language
    opt_outs    people who are expected to leave: few, middle, many
    """

    people: Mapping[Language, int]
    wordings: Mapping[Language, str]
    segments: Mapping[Language, int]
    cents: float
    opt_outs: tuple[int, int, int]

    @property
    def everybody(self) -> int:
        """All readers."""
        return sum(self.people.values())


def cost_of(broadcast: Broadcast, people: Mapping[Language, int], cents_a_part: float) -> Cost:
    """The cost of a broadcast to so many people of each language, as texts; other channels cost nothing."""
    languages: tuple[Language, ...] = ("en", "es")
    wordings = {
        language: fold(
            Voice(language, "f", broadcast.made_at.date()).line(
                Line("broadcast", {"text": broadcast.text(language)})
            )
        )
        for language in languages
    }
    segments = {language: len(parts(wordings[language])) for language in languages}
    everybody = sum(people.values())
    few, middle, many = (round(share * everybody) for share in OPT_OUTS)
    return Cost(
        people=people,
        wordings=wordings,
        segments=segments,
        cents=cents_a_part * sum(segments[language] * number for language, number in people.items()),
        opt_outs=(few, middle, many),
    )
