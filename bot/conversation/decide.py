"""What one message leads to, step by step: danger first, then opting out, then the rest.

The order is the rule: nothing below a step runs once the step has answered.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from bot.conversation import beginning, keeper
from bot.conversation.answers import ABOUT_PILE, may_add
from bot.conversation.meant import by_pile, which_pile, with_records
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.conversation.wishes import WISHES
from bot.language.meaning import Ask, Meaning
from storage.classes import ClassRow

ADVISE = frozenset({"what_next", "state", "trouble", "water_amount", "safe_use", "picture", "harvest_amount"})
"""Asks whose answer holds the next step itself, so that the report before it need not."""
ALONE = frozenset({"injury", "breathing", "self_harm", "threat", "animal"})
"""Dangers with one fixed answer; smoke has its own."""


@dataclass(frozen=True, slots=True)
class Codes:
    """What the code in a message stands for: a class, a pile to share, or nothing known."""

    taught: ClassRow | None = None
    pile_id: int | None = None
    unknown: str | None = None


def decide(known: Known, meaning: Meaning, codes: Codes, form: str = "text") -> Outcome:
    """Everything that comes of one message."""
    outcome = Outcome()
    asks = {ask.kind for ask in meaning.asks}
    if meaning.danger is not None:
        endangered(known, meaning, outcome)
    elif "stop" in asks:
        opt_out(known, outcome)
    elif known.person.standing == "stopped":
        come_back(known, meaning, codes, outcome)
    elif known.person.standing != "joined":
        stranger(known, meaning, codes, outcome)
    elif form in ("photo", "voice") and not meaning.facts and not meaning.asks:
        without_words(known, form, outcome)
    else:
        joined(known, meaning, codes, outcome)
    return outcome


def endangered(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """One fixed, careful answer and word to the staff; no pile advice beside it."""
    pile = which_pile(known, None)
    emergency, crisis = known.profile.emergency_number, known.profile.crisis_line
    if meaning.danger == "smoke":
        for fact in meaning.facts:
            if fact.record.kind == "smoke" and pile is not None:
                outcome.records.append((pile.row.id, fact.record, None))
        keeper.stay_back(known, pile, outcome)
        return
    if meaning.danger == "maybe_smoke":
        outcome.say("danger.which", emergency=emergency)
        outcome.ask("smoke", "smoke", "steam")
        return
    if meaning.danger == "wrong_person":
        outcome.consent = False
        outcome.confirmation = True
        outcome.say("wrong_person", programme=known.profile.programme)
        outcome.opens = {}
        outcome.alerts.append(keeper.alert("alert.wrong_person", known, None))
        return
    outcome.say(f"danger.{meaning.danger}", emergency=emergency, crisis=crisis)
    outcome.opens = {}
    outcome.alerts.append(keeper.alert(f"alert.{meaning.danger}", known, pile))
    if known.profile.staff.alerts:
        outcome.say("told_staff")


def opt_out(known: Known, outcome: Outcome) -> None:
    """At once and for good; one confirmation, nothing after it, and none to somebody who is already out."""
    outcome.opens = {}
    if known.person.standing == "stopped":
        return
    outcome.consent = False
    outcome.confirmation = True
    outcome.say("stopped", programme=known.profile.programme)


def come_back(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """After an opt-out only the person's own start, join or help is answered."""
    asks = {ask.kind for ask in meaning.asks}
    if asks & {"start", "resume"} or codes.taught or codes.pile_id:
        outcome.consent = True
        outcome.class_code = codes.taught.code if codes.taught else None
        outcome.joins_pile = codes.pile_id
        outcome.changes.update(paused_until=None)
        outcome.say("welcome_back")
        if known.piles:
            ABOUT_PILE["what_next"](known, known.piles[0], Ask("what_next"), outcome)
        else:
            outcome.say("ask.has_pile")
            outcome.ask("has_pile", "have_pile", "no_pile")
    elif "help" in asks:
        WISHES["help"](known, Ask("help"), outcome)


def stranger(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """Until somebody has said yes, only who we are and that question."""
    asks = {ask.kind for ask in meaning.asks}
    agreed = meaning.bare in ("yes", "ok") or bool(asks & {"yes", "start"})
    refused = meaning.bare == "no" or "no" in asks
    asked = known.waiting.get("ask") == "consent"
    if codes.taught is not None:
        take_class(codes.taught, outcome)
        known = replace(known, person=replace(known.person, language=codes.taught.language))
    if asked and refused:
        beginning.consent_refused(outcome)
    elif agreed and (asked or codes.taught or codes.pile_id):
        pile_id = codes.pile_id or known.waiting.get("invited")
        if pile_id is not None:
            outcome.joins_pile = int(pile_id)
            outcome.say("welcome.shared")
            outcome.opens = {}
        beginning.consent_given(outcome, joins_shared=pile_id is not None)
    elif "help" in asks:
        WISHES["help"](known, Ask("help"), outcome)
    elif "language" in asks:
        answer(known, None, next(ask for ask in meaning.asks if ask.kind == "language"), outcome)
        beginning.ask_consent(known, outcome, class_code=outcome.class_code)
    else:
        if codes.unknown and not codes.taught and codes.pile_id is None:
            outcome.say("code.unknown", code=codes.unknown)
        beginning.ask_consent(known, outcome, class_code=outcome.class_code, invited=codes.pile_id)


def take_class(taught: ClassRow, outcome: Outcome) -> None:
    """The class sets language and zone of a graduate who has not chosen."""
    outcome.class_code = taught.code
    outcome.changes.update(language=taught.language, zone=taught.zone)


def without_words(known: Known, form: str, outcome: Outcome) -> None:
    """A photo or a voice note cannot be judged; one small question instead."""
    outcome.say(f"form.{form}")
    if form == "photo" and known.piles:
        outcome.ask("squeeze", "feel.dry", "feel.right", "feel.soggy", pile=known.piles[0].row.id)


def joined(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """Somebody who has said yes."""
    if known.waiting.get("ask") == "forget" and meaning.bare in ("yes", "no"):
        forget(meaning.bare == "yes", outcome)
        return
    if any(ask.kind == "join" for ask in meaning.asks) or codes.taught or codes.pile_id:
        join_more(codes, outcome)
        return
    general = [ask for ask in meaning.asks if ask.kind in WISHES]
    begins = not known.piles or known.waiting.get("ask") == "pile_facts" or starts_another(known, meaning)
    if begins and beginning.begin(known, meaning, outcome):
        return
    if not known.piles:
        before_the_pile(known, meaning, general, outcome)
        return
    with_piles(known, meaning, outcome)


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


def join_more(codes: Codes, outcome: Outcome) -> None:
    """A code from somebody who has already joined."""
    if codes.pile_id is not None:
        outcome.joins_pile = codes.pile_id
        outcome.say("welcome.shared")
    elif codes.taught is not None:
        outcome.changes["class_code"] = codes.taught.code
        outcome.say("class.noted", code=codes.taught.code)
    else:
        outcome.say("code.unknown", code=codes.unknown or "")


def starts_another(known: Known, meaning: Meaning) -> bool:
    """Whether a keeper of a pile begins one more."""
    if any(ask.kind == "new_pile" for ask in meaning.asks):
        return True
    built = next((fact.record.on for fact in meaning.facts if fact.record.kind == "built"), None)
    if built is None:
        return False
    newest = max(pile.built for pile in known.piles)
    return (built - newest).days > 2


def before_the_pile(known: Known, meaning: Meaning, general: Sequence[Ask], outcome: Outcome) -> None:
    """Questions of somebody who has no pile yet."""
    for ask in meaning.asks:
        if ask.kind == "may_add":
            may_add(known, None, ask, outcome)
    for ask in general:
        answer(known, None, ask, outcome)
    if outcome.lines or outcome.erase or outcome.export:
        return
    if meaning.bare == "ok":
        return
    outcome.say("no_pile_yet")
    outcome.ask("has_pile", "have_pile", "no_pile")


def with_piles(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """Facts are recorded pile by pile, then what was asked is answered."""
    asks = [ask for ask in meaning.asks if ask.kind not in ("correction", "yes", "no")]
    kinds = {ask.kind for ask in asks}
    if "undo" in kinds:
        keeper.take_back(known, known.piles, outcome)
        return
    pile = which_pile(known, meaning)
    if pile is None:
        outcome.say(
            "which_pile",
            facts=[{"key": "pile.named", "values": {"pile": one.called}} for one in known.piles],
        )
        return
    if any(ask.kind == "correction" for ask in meaning.asks) and keeper.correct(
        known, pile, meaning, outcome
    ):
        return
    about_set_up = known.waiting.get("ask") in SET_UP_ASKS or not meaning.facts
    if about_set_up and beginning.change_set_up(known, pile, meaning, outcome):
        return
    after = known
    for one, facts in by_pile(known, meaning, pile):
        keeper.report(known, one, facts, outcome, advise=not kinds & ADVISE)
        after = with_records(after, one, facts)
    if known.waiting.get("ask") and meaning.facts and outcome.opens is None:
        outcome.opens = {}
    if any(line.key == "danger.stay_back" for line in outcome.lines):
        return
    pile = next(one for one in after.piles if one.row.id == pile.row.id)
    for ask in asks:
        answer(after, pile, ask, outcome)
    if outcome.lines or outcome.records or outcome.changes or outcome.export:
        return
    unanswered(known, meaning, outcome)


SET_UP_ASKS = frozenset({"fill", "thermometer"})


def answer(known: Known, pile: KnownPile | None, ask: Ask, outcome: Outcome) -> None:
    """Answer one ask, where it has an answer."""
    general = WISHES.get(ask.kind)
    if general is not None:
        general(known, ask, outcome)
    elif pile is not None and ask.kind in ABOUT_PILE:
        ABOUT_PILE[ask.kind](known, pile, ask, outcome)


def smoked_lately(known: Known) -> bool:
    """Whether smoke was told of in the last days: what comes next is how it ended."""
    records = [record for pile in known.piles for record in pile.records if record.kind == "smoke"]
    return any((known.today - record.on).days <= SMOKE_DAYS for record in records)


SMOKE_DAYS = 3
CLOSING: Mapping[tuple[str, str], str] = {
    ("stop_all", "no"): "go_on",
    ("smoke", "no"): "steam",
    ("burnt_smell", "no"): "steam",
}
"""Answers that end a question and lead to nothing else."""


def unanswered(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """A short answer to nothing, or to a question that it closes; or something that was not followed."""
    closing = CLOSING.get((known.waiting.get("ask", ""), meaning.bare or ""))
    if closing is not None:
        outcome.say(closing)
        outcome.opens = {}
        return
    if meaning.bare in ("ok", "skip", "dont_know") or (meaning.bare in ("yes", "no") and not known.waiting):
        if known.waiting.get("ask") in SET_UP_ASKS:
            outcome.opens = {}
            outcome.say("skipped")
        return
    if smoked_lately(known):
        outcome.say("after_smoke")
        return
    options = known.waiting.get("options") or ()
    outcome.say("did_not_follow")
    if options:
        outcome.ask(
            known.waiting["ask"],
            *options,
            **{k: v for k, v in known.waiting.items() if k not in ("ask", "options")},
        )
