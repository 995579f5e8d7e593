"""Who may be written to: opting out, coming back, saying yes, being forgotten."""

from dataclasses import dataclass

from bot.conversation import sharing
from bot.conversation.answers import ABOUT_PILE
from bot.conversation.meant import which_pile
from bot.conversation.talk import Known, Outcome
from bot.conversation.wishes import WISHES
from bot.language.meaning import Ask, Language, Meaning
from storage.classes import ClassRow


@dataclass(frozen=True, slots=True)
class Codes:
    """What the code in a message stands for: a class, a pile to share, or nothing known."""

    taught: ClassRow | None = None
    pile_id: int | None = None
    unknown: str | None = None


def opt_out(known: Known, outcome: Outcome) -> None:
    """At once and for good; one confirmation, nothing after it, and none to somebody who is already out."""
    outcome.opens = {}
    if known.person.standing == "stopped":
        return
    outcome.consent = False
    outcome.confirmation = True
    outcome.say("stopped", programme=known.profile.programme)


def blocked(known: Known, outcome: Outcome) -> None:
    """Whoever blocks us has opted out; nothing can be said to them any more."""
    if known.person.standing in ("asked", "joined"):
        outcome.consent = False
        outcome.opens = {}


def come_back(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """After an opt-out only the person's own start, join or help is answered."""
    asks = {ask.kind for ask in meaning.asks}
    if asks & {"start", "resume"} or codes.taught or codes.pile_id:
        outcome.consent = True
        outcome.class_code = codes.taught.code if codes.taught else None
        outcome.joins_pile = codes.pile_id
        outcome.changes.update(paused_until=None)
        outcome.say("welcome_back")
        pile = which_pile(known, None)
        if pile is not None:
            ABOUT_PILE["what_next"](known, pile, Ask("what_next"), outcome)
        else:
            ask_for_pile(outcome)
    elif "help" in asks:
        WISHES["help"](known, Ask("help"), outcome)


def stranger(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """Until somebody has said yes, only who we are and that question."""
    asks = {ask.kind for ask in meaning.asks}
    agreed = meaning.bare in ("yes", "ok") or meaning.lead == "yes" or bool(asks & {"yes", "start"})
    refused = meaning.bare == "no" or "no" in asks
    asked = known.waiting.get("ask") == "consent"
    if codes.taught is not None:
        take_class(codes.taught, outcome)
    elif meaning.language != known.person.language and meaning.language == "es":
        speak(meaning.language, known, outcome)
    if asked and refused:
        consent_refused(outcome)
    elif agreed and (asked or codes.taught):  # a forwarded code has told them nothing of what comes
        pile_id = codes.pile_id or known.waiting.get("invited")
        if pile_id is not None:
            outcome.joins_pile = int(pile_id)
            sharing.welcome(known, outcome)
        else:
            outcome.say("welcome")
        outcome.consent = True
    elif asks & {"help", "move"}:
        WISHES["move" if "move" in asks else "help"](known, Ask("help"), outcome)
    elif "language" in asks:
        WISHES["language"](known, next(ask for ask in meaning.asks if ask.kind == "language"), outcome)
        ask_consent(known, outcome, class_code=outcome.class_code)
    else:
        if codes.unknown and not codes.taught and codes.pile_id is None:
            outcome.say("code.unknown", code=codes.unknown)
        ask_consent(known, outcome, class_code=outcome.class_code, invited=codes.pile_id)


def ask_consent(
    known: Known, outcome: Outcome, *, class_code: str | None = None, invited: int | None = None
) -> None:
    """Who we are, what comes and how often, how to stop: one plain line, then yes or no."""
    outcome.say("consent", programme=known.profile.programme)
    outcome.holds = True
    named = {"code": class_code, "invited": invited}
    kept = {name: known.waiting[name] for name in named if name in known.waiting}
    outcome.ask("consent", "agree", "disagree", **kept | {k: v for k, v in named.items() if v is not None})


def ask_for_pile(outcome: Outcome) -> None:
    """The first question to somebody new: whether there is a pile."""
    outcome.say("ask.has_pile")
    outcome.ask("has_pile", "have_pile", "no_pile")


def consent_refused(outcome: Outcome) -> None:
    outcome.consent = False
    outcome.confirmation = True
    outcome.say("refused")
    outcome.opens = {}


def speak(language: Language, known: Known, outcome: Outcome) -> None:
    """Spanish in an early message shows what a code or a name had not; English may be only a default."""
    if language in known.profile.languages:
        outcome.changes["language"] = language


def take_class(taught: ClassRow, outcome: Outcome) -> None:
    """The class sets language and zone of a graduate who has not chosen."""
    outcome.class_code = taught.code
    outcome.changes.update(language=taught.language, zone=taught.zone)


def forget(sure: bool, outcome: Outcome) -> None:
    """Erase after one plain question; the confirmation is the last message."""
    outcome.opens = {}
    if not sure:
        outcome.say("forget.kept")
        return
    outcome.consent = False
    outcome.confirmation = True
    outcome.erase = True
    outcome.say("forget.done")
