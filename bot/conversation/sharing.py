"""What keepers of one pile settle among themselves: whose turn it is, how much each does, who hears what.

Nobody is blamed: the tally is shown when asked for, never pushed. What one keeper sets going for another goes
out as a nudge to that one phone; whoever is invited consents from their own.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from bot.conversation import tools
from bot.conversation.crediting import called, keeper_named, tally, who_did
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.conversation.tools import Answerer
from bot.language.meaning import Ask
from scheduler.turns import Work, owner_of, up_next
from storage.outbox import Line
from storage.people import Person
from storage.piles import Note

LONG_AWAY_DAYS = 3
"""A shorter pause puts a turn off; a longer one is an absence, in which no work is owed."""


def share(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """A code to forward: whoever texts it joins this pile, after consenting from their own phone."""
    outcome.invite_to = pile.row.id
    ask_name(known, outcome)


def ask_name(known: Known, outcome: Outcome) -> None:
    """What the others call this keeper, where their channel has not told us; may be left open."""
    if known.person.name is None:
        outcome.ask("name", "pass")


def welcome(known: Known, outcome: Outcome) -> None:
    """A new keeper of somebody's pile."""
    outcome.say("welcome.shared")
    outcome.opens = {}
    ask_name(known, outcome)
    if known.person.name is None:
        outcome.say("ask.name")


def my_name(_known: Known, _pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    outcome.changes["name"] = ask.name
    outcome.say("name.noted", name=ask.name)
    outcome.opens = {}


def hand_over(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """This turn goes to the keeper who is named, else to whoever is next; they are told if it is due."""
    work = work_meant(known)
    outcome.opens = {}
    if not pile.group.shared:
        outcome.say("hand_over.alone")
        return
    named = keeper_named(pile, ask.name)
    owner = owner_of(pile.group, work, known.at)
    if ask.name and named is None:
        outcome.say("hand_over.unknown", name=ask.name)
        return
    if owner not in (None, known.person.id) and (named is None or named.id != owner):
        outcome.say("whose_turn", name=called(known, pile, owner or 0))
        return
    ready = [person for person in willing(known, pile, work) if named is None or person.id == named.id]
    if not ready:
        cannot_be_handed_over(pile, named, work, known, outcome)
        return
    to = ready[0]
    outcome.note(pile.row.id, "pass", known.person.id, work=work)
    outcome.note(pile.row.id, "turn", to.id, work=work)
    if ask.topic == "swap":
        outcome.note(pile.row.id, "owes", known.person.id, work=work)
    if is_due(known, pile, work):
        line = Line(f"nudge.{WORDS[work]}.handed", {"name": called(known, pile, known.person.id)})
        outcome.relays.append((pile.row.id, to.id, line))
        outcome.say("hand_over.told", name=called(known, pile, to.id))
    else:
        outcome.say("hand_over.next", name=called(known, pile, to.id))
    if ask.topic == "swap":
        outcome.say("swap.after")


def cannot_be_handed_over(
    pile: KnownPile, named: Person | None, work: Work, known: Known, outcome: Outcome
) -> None:
    """The keeper who is named is away or not able; or nobody is left to do it."""
    if named is not None:
        outcome.say("hand_over.cannot", name=named.name or "")
        return
    outcome.note(pile.row.id, "pass", known.person.id, work=work)
    outcome.say("hand_over.nobody")


def claim(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """This turn is the writer's; whoever had been asked for it is told that they need not."""
    work = work_meant(known)
    before = owner_of(pile.group, work, known.at)
    outcome.say("claimed")
    outcome.opens = {}
    if not pile.group.shared:
        return
    outcome.note(pile.row.id, "turn", known.person.id, work=work)
    if before is not None and before != known.person.id:
        line = Line("nudge.taken", {"name": called(known, pile, known.person.id)})
        outcome.relays.append((pile.row.id, before, line))


def whose_turn(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """The keeper who is next by what each has done and taken on."""
    ready = up_next(pile.group, "turned", known.at)
    if not ready:
        outcome.say("whose_turn.nobody")
    elif ready[0].id == known.person.id:
        outcome.say("whose_turn.you")
    else:
        outcome.say("whose_turn", name=called(known, pile, ready[0].id))


def agree_share(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """How much of the work the writer takes on; nobody sets another's share."""
    outcome.note(pile.row.id, "share", known.person.id, **{ask.topic or "weight": ask.amount})
    outcome.say("share.agreed")


def limit(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """At most so many turnings in four weeks."""
    outcome.note(pile.row.id, "limit", known.person.id, turnings=ask.amount)
    outcome.say("limit.agreed", n=int(ask.amount or 1))


def news(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """Whether the writer hears when another has turned the pile."""
    outcome.note(pile.row.id, "hear", known.person.id, turns=ask.kind == "news")
    outcome.say("news.on" if ask.kind == "news" else "news.off")


def leave_pile(_known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """No longer a keeper of this pile; what they told stays, and the others hear nothing of it from us."""
    outcome.leaves = pile.row.id
    outcome.say("left", pile=pile.called)
    outcome.opens = {}


def willing(known: Known, pile: KnownPile, work: Work) -> list[Person]:
    """The other keepers who may be asked now, first by whose turn it would be."""
    me = known.person.id
    passing = Note("pass", me, {"work": work}, me, known.at)
    return list(up_next(replace(pile.group, notes=(*pile.group.notes, passing)), work, known.at))


def work_meant(known: Known) -> Work:
    """The work that was asked for last; turning, where nothing was."""
    return "watered" if known.waiting.get("ask") == "water" else "turned"


def is_due(known: Known, pile: KnownPile, work: Work) -> bool:
    """Whether the work is to be done now: it was asked for, or care says so."""
    if owner_of(pile.group, work, known.at) is not None:
        return True
    _, actions = known.look(pile.row, pile.records, known.today)
    return actions[0].do == WORDS[work] and (actions[0].on is None or actions[0].on <= known.today)


WORDS: Mapping[Work, str] = {"turned": "turn", "watered": "water"}


def one_named(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """A reply that asks for a turn names one keeper: whose it is already, else the writer from now on."""
    place = next(
        (n for n, line in enumerate(outcome.lines) if line.key in ("do.turn.now", "do.turn.on")), None
    )
    if place is None or not pile.group.shared:
        return
    turned = any(record.kind == "turned" for _, record, _ in outcome.records)
    ready = up_next(pile.group, "turned", known.at)
    owner = None if turned else owner_of(pile.group, "turned", known.at)
    if owner is None or owner not in [person.id for person in ready]:
        outcome.note(pile.row.id, "turn", known.person.id, work="turned")
    elif owner != known.person.id:
        outcome.lines[place] = Line("do.turn.theirs", {"name": called(known, pile, owner)})
        gone = ("do.water.with_turn", "caution.lift")
        outcome.lines = [line for line in outcome.lines if line.key not in gone]


def absences(known: Known, outcome: Outcome) -> None:
    """A longer pause or an opt-out is an absence on every shared pile; coming back ends it."""
    if "paused_until" not in outcome.changes and outcome.consent is None:
        return
    until: date | None = date.max if outcome.consent is False else outcome.changes.get("paused_until")
    for pile in known.piles:
        if not pile.group.shared:
            continue
        if until is None:
            outcome.note(pile.row.id, "back", known.person.id)
        elif (until - known.today).days > LONG_AWAY_DAYS:
            named = None if until == date.max else until.isoformat()
            outcome.note(pile.row.id, "away", known.person.id, until=named)


ANSWERS: Mapping[str, Answerer] = {
    **tools.ANSWERS,
    "share": share,
    "my_name": my_name,
    "hand_over": hand_over,
    "claim": claim,
    "whose_turn": whose_turn,
    "who_did": who_did,
    "tally": tally,
    "agree_share": agree_share,
    "limit": limit,
    "news": news,
    "no_news": news,
    "leave_pile": leave_pile,
}
