"""What one message leads to, step by step: danger first, then opting out, then the rest.

The order is the rule: nothing below a step runs once the step has answered.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from bot.conversation import beginning, crediting, doubts, keeper, mending, questions, set_up, sharing
from bot.conversation.adding import may_add
from bot.conversation.answers import ABOUT_PILE
from bot.conversation.loose_ends import only_steam, unanswered
from bot.conversation.meant import by_pile, tidied, together, which_pile, with_records
from bot.conversation.standing import (
    Codes,
    ask_for_pile,
    blocked,
    come_back,
    forget,
    opt_out,
    stranger,
)
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.conversation.wishes import WISHES, tell_hours
from bot.language.meaning import Ask, Meaning

IN_HAND = frozenset({"what_next", "trouble", "what_if", "water_amount"})
"""Asks for advice, left to a human who has just answered on this pile."""


def decide(known: Known, meaning: Meaning, codes: Codes, form: str = "text") -> Outcome:
    """Everything that comes of one message."""
    outcome = Outcome()
    meaning = tidied(meaning)
    asks = {ask.kind for ask in meaning.asks}
    if form == "blocked":
        blocked(known, outcome)
    elif form == "grouped":
        outcome.say("group.hello")
    elif meaning.danger is not None and not asks_who_we_are(known, meaning):
        endangered(known, meaning, outcome)
    elif "stop" in asks:
        opt_out(known, outcome)
    elif known.person.standing == "stopped":
        come_back(known, meaning, codes, outcome)
    elif known.person.standing != "joined" and keeper.danger_in(fact.record for fact in meaning.facts):
        keeper.stay_back(known, None, outcome)
    elif known.person.standing != "joined":
        stranger(known, meaning, codes, outcome)
        if outcome.consent and outcome.joins_pile is None:
            newly_joined(known, meaning, outcome)
    elif form in ("photo", "voice") and not meaning.facts and not meaning.asks:
        without_words(known, form, outcome)
    else:
        joined(known, meaning, codes, outcome)
    sharing.absences(known, outcome)
    return outcome


def asks_who_we_are(known: Known, meaning: Meaning) -> bool:
    """ "Who is this?" of somebody who wrote first or has just told us of their pile: not a stranger's."""
    just_told = any(known.at - told.said_at < timedelta(days=2) for _, told in mending.told_last(known))
    return meaning.danger == "wrong_person" and (known.waiting.get("ask") == "consent" or just_told)


def newly_joined(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """What was said before the yes, or with it, is taken up now; else the first question is for a pile."""
    nothing = Meaning(meaning.language)
    said = together(known.waited or nothing, replace(meaning, bare=None, lead=None, number=None))
    person = replace(known.person, standing="joined", waiting_for={})
    if said.facts or said.asks or said.setup:
        joined(replace(known, person=person, waited=None), said, Codes(), outcome)
    if not outcome.options and not said_danger(outcome):
        ask_for_pile(outcome)


def said_danger(outcome: Outcome) -> bool:
    """Whether the answer is one that stands alone."""
    return any(line.key.startswith("danger.") for line in outcome.lines)


def endangered(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """One fixed, careful answer and word to the staff; no pile advice beside it."""
    pile = which_pile(known, None)
    profile = known.profile
    emergency, crisis, poison = profile.emergency_number, profile.crisis_line, profile.poison_line
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
    outcome.say(f"danger.{meaning.danger}", emergency=emergency, crisis=crisis, poison=poison)
    outcome.opens = {}
    outcome.alerts.append(keeper.alert(f"alert.{meaning.danger}", known, pile))
    if known.profile.staff.alerts:
        outcome.say("told_staff")


def without_words(known: Known, form: str, outcome: Outcome) -> None:
    """A photo or a voice note cannot be judged; one small question instead."""
    outcome.say(f"form.{form}")
    pile = which_pile(known, None)
    if form == "photo" and pile is not None:
        outcome.ask("squeeze", "feel.dry", "feel.right", "feel.soggy", pile=pile.row.id)


def joined(known: Known, meaning: Meaning, codes: Codes, outcome: Outcome) -> None:
    """Somebody who has said yes."""
    if meaning.danger == "wrong_person":
        WISHES["help"](known, Ask("help"), outcome)
        return
    if "chosen" in known.waiting:
        questions.answered(known, outcome)
        return
    if known.waiting.get("ask") == "forget" and meaning.bare in ("yes", "no"):
        forget(meaning.bare == "yes", outcome)
        return
    if any(ask.kind == "join" for ask in meaning.asks) or codes.taught or codes.pile_id:
        join_more(known, codes, outcome)
        return
    general = [ask for ask in meaning.asks if ask.kind in WISHES]
    begins = not known.piles or known.waiting.get("ask") in BEGINNINGS or starts_another(known, meaning)
    if begins and beginning.begin(known, meaning, outcome):
        if outcome.new_pile:
            first_answers(known, together(known.waited, meaning).asks, outcome)
        return
    if not known.piles:
        before_the_pile(known, meaning, general, outcome)
        return
    with_piles(known, meaning, outcome)


def join_more(known: Known, codes: Codes, outcome: Outcome) -> None:
    """A code from somebody who has already joined."""
    if codes.pile_id is not None:
        outcome.joins_pile = codes.pile_id
        sharing.welcome(known, outcome)
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
    newest = max(known.piles, key=lambda pile: pile.built)
    return (built - newest.built).days > 2 and not {"built", "day"} & set(newest.row.setup.get("assumed", ()))


def first_answers(known: Known, asks: Sequence[Ask], outcome: Outcome) -> None:
    """What was asked before the pile was known, then the next question of its set-up; danger stands alone."""
    if said_danger(outcome):
        return
    pile = beginning.new_pile(known, outcome)
    after = replace(known, piles=(*known.piles, pile))
    answer_all(after, pile, [ask for ask in asks if ask.kind not in TOLD_AT_FIRST], outcome)
    set_up.go_on(after, pile, outcome)


TOLD_AT_FIRST = frozenset({"new_pile", "when_ready", "mix", "correction"})
"""Asks that the first answer about a pile answers by itself."""


def before_the_pile(known: Known, meaning: Meaning, general: Sequence[Ask], outcome: Outcome) -> None:
    """Questions of somebody who has no pile yet; one about their pile waits until it is known."""
    before = len(outcome.lines)
    general = [ask for ask in general if ask.kind != "greeting"]
    for ask in meaning.asks:
        if ask.kind == "may_add":
            may_add(known, None, ask, outcome)
    for ask in general:
        answer(known, None, ask, outcome)
    outcome.holds = any(ask.kind in ABOUT_PILE and ask.kind != "may_add" for ask in meaning.asks)
    answered = len(outcome.lines) > before or outcome.erase or outcome.export or outcome.says_a_code
    if meaning.bare == "ok" or (answered and not outcome.holds):
        return
    if outcome.consent:
        ask_for_pile(outcome)
        return
    outcome.say("no_pile_yet")
    outcome.ask("has_pile", "have_pile", "no_pile")


def with_piles(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """Facts are recorded pile by pile, then what was asked is answered."""
    asks = [ask for ask in meaning.asks if ask.kind not in ("correction", "yes", "no")]
    if any(ask.kind == "undo" for ask in asks):
        mending.take_back(known, outcome)
        return
    if only_steam(known, meaning, outcome):
        return
    pile = which_pile(known, meaning)
    if pile is None:
        ask_which_pile(known, outcome)
        return
    corrects = any(ask.kind == "correction" for ask in meaning.asks)
    if set_up.redate(known, pile, meaning, outcome, corrects=corrects):
        return
    if meaning.bare == "other_one" and meaning.facts and len(known.piles) == 1:
        mending.swap(known, pile, meaning, outcome)
        return
    told_wrong = (corrects or meaning.bare == "other_one") and not meaning.facts
    if told_wrong and mending.set_right(known, pile, meaning, outcome):
        return
    doubted = known.waiting.get("ask") in doubts.ASKS  # nothing of it was recorded that could be corrected
    if corrects and not doubted and mending.correct(known, pile, meaning, outcome):
        return
    about_set_up = known.waiting.get("ask") in set_up.ASKS or not meaning.facts
    if about_set_up and set_up.change(known, pile, meaning, outcome):
        answer_all(known, pile, asks, outcome)
        return
    if known.waiting.get("then") == "cold" and any(fact.record.kind == "moisture" for fact in meaning.facts):
        asks.append(Ask("trouble", topic="cold"))
    if pile.row.id in known.with_staff:
        asks = leave_to_staff(known, asks, outcome)
    after = reported(known, pile, meaning, asks, outcome)
    if any(line.key.startswith(FIRST_OF_ALL) for line in outcome.lines):
        keeper.alone(outcome)
        return
    pile = next(one for one in after.piles if one.row.id == pile.row.id)
    answer_all(after, pile, asks, outcome)
    keeper.alone(outcome)
    sharing.one_named(known, pile, outcome)
    if any(ask.kind == "to_staff" for ask in asks) and any(f.record.kind == "smell" for f in meaning.facts):
        outcome.say("neighbor")
    if not (outcome.lines or outcome.records or outcome.changes or outcome.export or outcome.says_a_code):
        unanswered(known, meaning, outcome)
    if known.waiting.get("then") == "set_up" and not outcome.opens and outcome.lines:
        set_up.go_on(after, pile, outcome)


def leave_to_staff(known: Known, asks: Sequence[Ask], outcome: Outcome) -> list[Ask]:
    """What is left to answer where a human has the pile in hand: facts, not what to do about it."""
    matter = [ask for ask in asks if ask.kind in IN_HAND]
    if matter:
        outcome.say("staff.has_it")
        tell_hours(known, outcome)
        outcome.asked_staff = True
    return [ask for ask in asks if ask not in matter]


def ask_which_pile(known: Known, outcome: Outcome) -> None:
    """A pile that this keeper does not have was named; the message is kept until the digit comes."""
    outcome.say("which_pile")
    outcome.holds = True
    outcome.ask("which_pile", *(f"pile:{one.called}" for one in known.piles))


def reported(known: Known, pile: KnownPile, meaning: Meaning, asks: Sequence[Ask], outcome: Outcome) -> Known:
    """Record and answer what was told, pile by pile; what is known after it."""
    after = known
    told = by_pile(known, meaning, pile)
    advise = not {ask.kind for ask in asks} & keeper.ADVISE and pile.row.id not in known.with_staff
    for one, facts in told:
        keeper.report(known, one, facts, outcome, advise=advise, brief=len(told) > 1 or bool(asks))
        crediting.credit(known, one, facts, meaning, outcome)
        crediting.tell_others(known, one, outcome)
        after = with_records(after, one, facts)
    doubts.ask_again(known, meaning, outcome)
    if known.waiting.get("ask") and meaning.facts and outcome.opens is None:
        outcome.opens = {}
    return after


def answer_all(known: Known, pile: KnownPile, asks: Sequence[Ask], outcome: Outcome) -> None:
    """What was asked, in its order; several materials each in a few words."""
    materials = [ask for ask in asks if ask.kind == "may_add"]
    for ask in asks:
        if ask.kind == "may_add":
            may_add(known, pile, ask, outcome, brief=len(materials) > 1)
        else:
            answer(known, pile, ask, outcome)


FIRST_OF_ALL = ("danger.", "doubt.")
"""Nothing else is answered before these are settled."""
ANYWHERE = frozenset({"may_add", "share", "rename"})
"""Answers that say by themselves which pile they are about, or are the same for any."""
BEGINNINGS = frozenset({"pile_facts", "built", "built_yet"})


def answer(known: Known, pile: KnownPile | None, ask: Ask, outcome: Outcome) -> None:
    """Answer one ask, where it has an answer."""
    general = WISHES.get(ask.kind)
    if general is not None:
        general(known, ask, outcome)
    elif pile is not None and ask.kind in ABOUT_PILE:
        named = ask.kind in ANYWHERE or any(line.key == "for_pile" for line in outcome.lines)
        if len(known.piles) > 1 and not named:
            outcome.say("for_pile", pile=pile.called)
        ABOUT_PILE[ask.kind](known, pile, ask, outcome)
