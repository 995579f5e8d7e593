"""What is left where nothing was recorded or answered: short answers, the end of smoke, a riddle."""

from collections.abc import Mapping

from bot.conversation import keeper, set_up
from bot.conversation.meant import which_pile
from bot.conversation.steps import kept_away
from bot.conversation.talk import Known, Outcome
from bot.language.meaning import Meaning


def smoked_lately(known: Known) -> bool:
    """Whether smoke was told of in the last days: what comes next is how it ended."""
    records = [record for pile in known.piles for record in pile.records if record.kind == "smoke"]
    return any((known.today - record.on).days <= SMOKE_DAYS for record in records)


def after_smoke(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """How it ended: what to watch for, and no ashes where it came of them; the staff follow up."""
    if "ashes" in meaning.after:
        outcome.say("after_smoke")
        outcome.say("after_smoke.ashes")
    elif "steam" in meaning.after:
        outcome.say("after_smoke.steam", emergency=known.profile.emergency_number)
    else:
        outcome.say("after_smoke.gone", emergency=known.profile.emergency_number)
    outcome.alerts.append(keeper.alert("alert.after_smoke", known, which_pile(known, None)))
    if known.profile.staff.alerts:
        outcome.say("told_staff")


def only_steam(known: Known, meaning: Meaning, outcome: Outcome) -> bool:
    """ "It was just steam": whether that ends what was told or asked of smoke."""
    told = any(fact.record.kind != "heat_feel" for fact in meaning.facts)
    if told or "steam" not in meaning.after:
        return False
    if known.waiting.get("ask") == "smoke":
        outcome.say("steam.feel" if known.person.thermometer is False else "steam")
        outcome.opens = {}
    elif smoked_lately(known):
        after_smoke(known, meaning, outcome)
    return bool(outcome.lines)


SMOKE_DAYS = 3
CLOSING: Mapping[tuple[str, str], str] = {
    ("stop_all", "no"): "go_on",
    ("smoke", "no"): "steam",
    ("burnt_smell", "no"): "steam",
    ("number", "dont_know"): "skipped",
    ("rename", "skip"): "skipped",
    ("name", "skip"): "skipped",
}
"""Answers that end a question and lead to nothing else."""


def not_known(known: Known, outcome: Outcome) -> None:
    """ "I don't know" to an open question: the hand will do, or another way on."""
    asked, pile = known.waiting.get("ask", ""), which_pile(known, None)
    if asked in ("reading", "feel") and pile is not None:
        outcome.say("ask.feel")
        outcome.ask("feel", "heat.cold", "heat.warm", "heat.hot", pile=pile.row.id)
        return
    if asked == "buckets" and pile is not None:
        outcome.say("skipped")
        keeper.ask_next_pile(pile, outcome)
        return
    outcome.say(UNKNOWN.get(asked, "skipped"))
    outcome.opens = {}


UNKNOWN: Mapping[str, str] = {
    "smell": "smell.unsure",
    "squeeze": "how_feel",
    "pests": "trouble.pests.other",
    "ready": "ready.unsure",
}
"""What helps somebody who does not know what was asked."""


def unanswered(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """A short answer to nothing, or to a question that it closes; or something that was not followed."""
    closing = CLOSING.get((known.waiting.get("ask", ""), meaning.bare or ""))
    if closing is not None:
        by_hand = closing == "steam" and known.person.thermometer is False
        outcome.say("steam.feel" if by_hand else closing)
        outcome.opens = {}
        return
    if meaning.bare == "dont_know" and known.waiting.get("ask") not in (None, "may_add", *set_up.ASKS):
        not_known(known, outcome)
        return
    if meaning.bare == "will_do" or (meaning.bare == "yes" and "advised" in known.waiting):
        outcome.say("will_do")
        return
    if meaning.bare == "not_yet" and not known.waiting.get("options"):
        outcome.say("declined")
        return
    if meaning.bare in ("ok", "skip", "dont_know") or (meaning.bare in ("yes", "no") and not known.waiting):
        if known.waiting.get("ask") in set_up.ASKS:
            outcome.opens = {}
            outcome.say("skipped")
            past = set_up.ASKS[: set_up.ASKS.index(known.waiting["ask"]) + 1]
            set_up.go_on(known, which_pile(known, None), outcome, past=past)
        return
    if meaning.after and smoked_lately(known):
        after_smoke(known, meaning, outcome)
        return
    pile = which_pile(known, None)
    if pile is not None and kept_away(known, pile, outcome):
        return
    options = known.waiting.get("options") or ()
    if meaning.bare == "done":
        outcome.say("ask.done")
        outcome.ask("done", "turned", "watered", "added_browns")
        return
    outcome.say("did_not_follow")
    if options:
        outcome.ask(
            known.waiting["ask"],
            *options,
            **{k: v for k, v in known.waiting.items() if k not in ("ask", "options")},
        )
