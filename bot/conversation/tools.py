"""Where the fork is: by the last word on it; whoever had it last can be asked on another's behalf."""

from collections.abc import Callable, Mapping
from typing import Any

from bot.conversation.crediting import called, keeper_named
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask
from bot.language.sharing import OWN
from scheduler.nudges import QUESTIONS
from scheduler.turns import tool_notes
from storage.outbox import Line
from storage.people import Person

Answerer = Callable[[Known, KnownPile, Ask, Outcome], None]

STALE_DAYS = 2
"""A word on a tool that is older says so in days."""
MAY_WAIT = {None, *(ask for ask, _ in QUESTIONS.values())} - {"tool"}
"""What may be open while a tool is looked for, such as the turn that it is wanted for; it opens again."""


def who_has_tool(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """By the last word on it, and how old that is; whoever has it can be asked on the writer's behalf."""
    tool = ask.topic or "fork"
    last = tool_notes(pile.group).get(tool)
    if last is None or last.values.get("gone"):
        outcome.say("who_has_tool", tool=thing(tool))
        return
    since = last.said_at.astimezone(known.at.tzinfo).date()
    days = (known.today - since).days
    values: dict[str, Any] = {"tool": thing(tool), "since_on": since.isoformat()}
    key = (
        "tool.put_back" if last.who is None else "tool.yours" if last.who == known.person.id else "tool.with"
    )
    if last.who is not None:
        values["name"] = called(known, pile, last.who)
    if days >= STALE_DAYS:
        key, values["days_ago"] = f"{key}.old", days
    outcome.say(key, **values)
    holder = next((person for person in pile.group.members if person.id == last.who), None)
    if holder is None or holder.id == known.person.id or not reached(holder):
        return
    if known.waiting.get("ask") in MAY_WAIT:
        about = {"pile": pile.row.id, "tool": tool, "holder": holder.id, "before": dict(known.waiting)}
        outcome.say("tool.ask", name=called(known, pile, holder.id))
        outcome.ask("tool_ask", "ask_holder", "no_need", **about)


def reached(person: Person) -> bool:
    """Whether somebody can be asked something on a phone of their own."""
    return person.standing == "joined" and person.through_id is None


def ask_holder(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Whoever had the tool last is asked whether they still do."""
    holder, tool = known.waiting.get("holder"), known.waiting.get("tool")
    if holder is None or tool is None:
        return
    outcome.relays.append((pile.row.id, holder, about_tool("nudge.tool", known, pile, tool)))
    outcome.say("tool.asking", name=called(known, pile, holder))
    outcome.opens = dict(known.waiting.get("before", {}))


def about_tool(key: str, known: Known, pile: KnownPile, tool: str) -> Line:
    """What another keeper is asked or told of a tool, and by whom."""
    values = {"name": called(known, pile, known.person.id), "tool": thing(tool)}
    return Line(key, values | {"which": tool, "asker": known.person.id})


def tool_gone(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Whoever was asked has it no more; where it is nobody knows."""
    looked_for = known.waiting.get("of", {})
    if "which" in looked_for:
        outcome.note(pile.row.id, "tool", None, tool=looked_for["which"], gone=True)
        answer_asker("nudge.tool_gone", known, pile, outcome)


def answer_asker(key: str, known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """Tell whoever was looking for a tool what came of it."""
    looked_for = known.waiting["of"]
    line = about_tool(key, known, pile, looked_for["which"])
    outcome.relays.append((pile.row.id, looked_for["asker"], line))
    outcome.say("tool.telling", name=called(known, pile, looked_for["asker"]))
    outcome.opens = {}


def has_tool(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """A tool has changed hands, or was put back; whoever was looking for it hears where it is."""
    looked_for = known.waiting.get("of", {}).get("which")
    tool = ask.topic or looked_for or "fork"
    who = known.person if ask.name == OWN else keeper_named(pile, ask.name)
    if ask.kind == "has_tool" and who is None:
        outcome.say("who_has_tool", tool=thing(tool))
        return
    outcome.note(pile.row.id, "tool", who.id if who and ask.kind == "has_tool" else None, tool=tool)
    if ask.kind == "tool_back":
        outcome.say("tool.noted_back", tool=thing(tool))
    elif who is not None and who.id == known.person.id:
        outcome.say("tool.noted_you", tool=thing(tool))
    elif who is not None:
        outcome.say("tool.noted", tool=thing(tool), name=called(known, pile, who.id))
    if tool == looked_for and who is not None and who.id == known.person.id:
        answer_asker("nudge.tool_here", known, pile, outcome)


def thing(tool: str) -> list[dict[str, Any]]:
    """A tool as a phrase with its article."""
    return [{"key": f"thing.{tool}", "values": {}}]


ANSWERS: Mapping[str, Answerer] = {
    "who_has_tool": who_has_tool,
    "has_tool": has_tool,
    "tool_back": has_tool,
    "ask_holder": ask_holder,
    "tool_gone": tool_gone,
}
