"""What a message means beside the open question, and beside what was said just before it.

A digit, a label or a place picks a quick answer; "done. 128 now" opens with one; a name, an age or a material
alone answers what was asked. What waited for an answer is read anew.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from bot.conversation import questions
from bot.conversation.dialog import SHORT, as_said, picked
from bot.conversation.meant import SOCIAL, together
from bot.conversation.mending import told_last
from bot.conversation.talk import Known, KnownPile
from bot.language.lexicon import lexicon
from bot.language.meaning import Ask, Bare, Fact, Meaning, Setup
from bot.language.sharing import SPEAKER, among_keepers
from bot.language.understand import agrees, understand
from bot.language.wording import Voice, option_label
from bot.profile import Bin, plain
from shared.pile import Kind, Record
from shared.units import BUCKET_L
from storage.people import Person


def in_context(
    known: Known, question: Mapping[str, Any], said: str, meaning: Meaning
) -> tuple[Known, Meaning, str | None]:
    """What is known and meant once the open question is taken into account, and the quick answer it picks."""
    if (shared := on_shared_phone(known, question, said)) is not None:
        return shared
    known = replace(known, waited=waiting_words(question, known))
    asked = question.get("ask")
    option = picked(question, meaning)
    if option is None and not any(ask.kind in RESERVED for ask in meaning.asks):
        option = labelled(question, said, known.person)
    choice = questions.chosen(question, said, meaning)
    if choice is not None:
        known = questions.with_choice(known, question, choice)
        return known, replace(meaning, facts=(), asks=(), bare=None, number=None), option
    if option is not None and asked == "which_pile":
        known = with_pile_picked(known, known.piles[question["options"].index(option)])
        return known, known.waited or meaning, option
    if option is not None:
        return known, as_said(option, meaning, known.today), option
    if asked == "consent" and agrees(said):
        return known, replace(meaning, lead="yes"), None
    if whole := opened(question, said, meaning, known) or told_alone(question, said, meaning, known):
        return known, whole, None
    if (pile := other_pile(known, said, meaning)) is not None:
        return with_pile_picked(known, pile), replace(meaning, bare="other_one"), None
    names = names_of_others(known)
    return known, among_keepers(meaning, said, names, name_asked=known.waiting.get("ask") == "name"), None


RESERVED = ("help", "stop", "start")
"""Words that mean the same whatever is asked."""


def on_shared_phone(
    known: Known, question: Mapping[str, Any], said: str
) -> tuple[Known, Meaning, str | None] | None:
    """ "Leo: done": what a keeper who shares this phone says, in the same context."""
    spoken = SPEAKER.match(said)
    who = next((name for name in names_of_others(known) if spoken and plain(name) == plain(spoken[1])), None)
    if spoken is None or who is None:
        return None
    rest = said[spoken.end() :]
    meaning = understand(rest, known.local, known.person.units)
    known, meaning, option = in_context(known, question, rest, meaning)
    return known, replace(meaning, speaker=who, by=(who,) if meaning.facts else ()), option


def other_question(known: Known, meaning: Meaning, asked: Sequence[Mapping[str, Any]]) -> Meaning:
    """ "No, the other one" of two jobs that were asked for: the one that was not noted just now.

    asked   the questions of late, the oldest first
    """
    noted = {(told.record.kind, told.record.material) for _, told in told_last(known)}
    for question in reversed(asked):
        option = SHORT.get((question.get("ask", ""), "done"))
        facts = as_said(option, meaning, known.today).facts if option else ()
        if facts and (facts[0].record.kind, facts[0].record.material) not in noted:
            return replace(meaning, facts=facts, asks=())
    return meaning


def told_alone(question: Mapping[str, Any], said: str, meaning: Meaning, known: Known) -> Meaning | None:
    """A name or a material alone, where one was asked for or about."""
    if question.get("ask") == "rename" and not (meaning.facts or meaning.asks or meaning.bare):
        return replace(meaning, asks=(Ask("rename", name=said.strip(" .!")[:LONGEST_NAME]),), number=None)
    alone = meaning.number is not None or not meaning.facts
    if question.get("ask") == "buckets" and alone and (number := COUNT.search(said)):
        return buckets_told(int(number.group()), meaning, known)
    return another_material(question, said, meaning, known)


COUNT = re.compile(r"\d{1,2}\b")


def buckets_told(count: int, meaning: Meaning, known: Known) -> Meaning:
    """How many buckets a harvest came to, told after it; 0 says that nobody knows."""
    if count == 0:
        return replace(meaning, bare="dont_know", number=None)
    record = Record("harvested", known.today, litres=count * BUCKET_L)
    return replace(meaning, facts=(Fact(record),), asks=(), bare=None, number=None)


def other_pile(known: Known, said: str, meaning: Meaning) -> KnownPile | None:
    """The pile that a correction names and nothing else: "no, the front one"."""
    words = plain(said).replace(",", " ").replace(".", " ").split()
    corrects = any(ask.kind == "correction" for ask in meaning.asks) or words[:1] == ["no"]
    if len(known.piles) < 2 or meaning.facts or not corrects or len(words) > MOST_WORDS:
        return None
    return next((pile for pile in known.piles if set(plain(pile.called).split()) <= set(words)), None)


def with_pile_picked(known: Known, pile: KnownPile) -> Known:
    """What is known once the keeper has said which of their piles they mean."""
    picked = {"ask": "which_pile", "picked": pile.row.id}
    return replace(known, person=replace(known.person, waiting_for=picked))


def labelled(question: Mapping[str, Any], said: str, person: Person) -> str | None:
    """The quick answer that somebody types out as it is labelled, or names by its place: "the second one"."""
    voice, words = Voice(person.language, person.units, date.min), plain(said.strip(" .!"))
    options: Sequence[str] = question.get("options", ())
    scale = next((word[0] for word in words.split() if word.startswith(SCALES) or word in ("c", "f")), None)
    if scale is not None and question.get("ask") == "number":
        return next((option for option in options if option.startswith(f"as_{scale}")), None)
    typed = next((option for option in options if plain(option_label(voice, option)) == words), None)
    if question.get("ask") == "smell" and not {"no", "not", "ni"} & set(words.split()):  # "a amoniaco"
        smelt = [option for option in options if plain(option_label(voice, option)) in words.split()]
        typed = typed or (smelt[0] if len(smelt) == 1 else None)
    place = lexicon(person.language).place_of(words.split())
    return typed or (options[place - 1] if place is not None and place <= len(options) else None)


def opened(question: Mapping[str, Any], said: str, meaning: Meaning, known: Known) -> Meaning | None:
    """A message that opens with the answer to the question and goes on: "done. 128 now", "yes, 5 gallons".

    The answer is read as if it had been said in the words of its label.
    """
    if not question or meaning.bare:
        return None
    head, rest = split_off(said, known)
    option = picked({**question, "options": ()}, Meaning(meaning.language, bare=head)) if head else None
    if option is None or meaning.danger or any(ask.kind in ("stop", "undo") for ask in meaning.asks):
        return None
    answer = as_said(option, Meaning(meaning.language), known.today)
    if not answer.facts:
        return None
    kind = answer.facts[0].record.kind
    if head in ("yes", "done") and taken_back(head, kind, rest, known):
        return None
    label = option_label(Voice(known.person.language, known.person.units, known.today), option)
    whole = understand(f"{label} {rest}", known.local, known.person.units)
    if any(fact.record.kind == kind for fact in whole.facts):
        return whole
    on = meaning.on if meaning.on and meaning.on <= known.today else known.today
    dated = tuple(replace(fact, record=replace(fact.record, on=on)) for fact in answer.facts)
    return replace(meaning, facts=(*dated, *meaning.facts), lead=None)


def split_off(said: str, known: Known) -> tuple[Bare | None, str]:
    """The short answer that a message opens with, and the rest; it ends at a comma, a stop or an "and".

    A clear one, such as "done", needs none; nor does any before a number or a day: "ya ayer", not "ya casi".
    """
    words = said.split()
    for many in (3, 2, 1):
        if many < len(words):
            head, rest = " ".join(words[:many]), " ".join(words[many:])
            bare = understand(head.strip(STOPS), known.local, known.person.units).bare
            ended = head[-1] in STOPS or (bare != "no" and joined_on(head, rest, known))
            if bare in ("done", "yes", "not_yet", "no") and ended:
                return bare, rest
    return None, said


def joined_on(head: str, rest: str, known: Known) -> bool:
    """Whether what follows a short answer adds to it: "and 128", "5 gallons", "yesterday"."""
    lex, word = lexicon(known.person.language), rest.split()[0]
    if word[0].isdigit() or not word[0].isalnum() or lex.joins(word):
        return True
    if head.casefold() in lex.tables["bare_words"]["clear"]:
        return plain(word) not in lex.tables["bare_words"]["astray"]
    on = understand(rest, known.local, known.person.units).on
    return on is not None and on <= known.today


def taken_back(head: Bare, kind: Kind, rest: str, known: Known) -> bool:
    """Whether the rest of a message says that it is not so; a "yes" to work may also ask or promise."""
    then = understand(rest, known.local, known.person.units)
    if {"no", "not_yet"} & {then.bare, then.lead} or any(f.record.kind == "not_turned" for f in then.facts):
        return True
    asks = "?" in rest or lexicon(known.person.language).asks(rest.split()[0])
    asks = asks or any(ask.kind not in SOCIAL for ask in then.asks)
    promises = then.bare == "will_do" or (then.on is not None and then.on > known.today)
    return head == "yes" and kind not in SIGNS and (asks or promises)


SCALES = ("cels", "cent", "fahr", "faren")
STOPS = ",.;:!"
SIGNS: tuple[Kind, ...] = ("heat_feel", "texture")
"""What is seen, not done: whoever says yes to it and asks on has still said yes."""
MOST_WORDS = 6
"""A longer message is no mere correction of the pile."""
LONGEST_NAME = 24


def another_material(
    question: Mapping[str, Any], said: str, meaning: Meaning, known: Known
) -> Meaning | None:
    """A material alone asks on, on the day on which one was asked about: "avocado pits", "and bones"."""
    if question.get("may_add_on") != known.today.isoformat() or meaning.asks or meaning.bare:
        return None
    asked = understand(f"{said}?", known.local, known.person.units)
    named = " ".join(plain(ask.name or "") for ask in asked.asks if ask.kind == "may_add").split()
    lex = lexicon(asked.language)
    beside = [word for word in re.findall(r"\w+", plain(said)) if word not in named]
    alone = all(lex.joins(word) or word in lex.tables["may_add"]["stray"] for word in beside)
    return asked if named and alone else None


MOST_HELD, LONGEST_HELD = 4, 480
"""How many messages wait for the answer to a question, and how much of each."""


def held(question: Mapping[str, Any], said: str | None, at: datetime) -> list[list[str]]:
    """What waits for the answer to the question that opens now: what waited before, and this message."""
    new = [] if said is None else [[said[:LONGEST_HELD], at.isoformat()]]
    return [*question.get("said", ()), *new][-MOST_HELD:]


def waiting_words(question: Mapping[str, Any], known: Known) -> Meaning | None:
    """What the messages say that wait for the answer to this question, each read as of its own moment."""
    waited = None
    for text, moment in question.get("said", ()):
        meaning = understand(text, datetime.fromisoformat(moment), known.person.units)
        waited = together(waited, in_named_bin(meaning, known.profile.bin_in(text)))
    return waited


def in_named_bin(meaning: Meaning, named: Bin | None) -> Meaning:
    """Whoever names a bin of the programme has told its size, as far as they gave none of their own."""
    setup = meaning.setup or Setup()
    if named is None or setup.length_m is not None or setup.volume_m3 is not None:
        return meaning
    size = replace(
        setup,
        length_m=named.length_m,
        width_m=named.width_m,
        height_m=setup.height_m or named.height_m,
        bin=True,
    )
    return replace(meaning, setup=size)


def names_of_others(known: Known) -> tuple[str, ...]:
    """What the other keepers of this person's piles are called."""
    named = [(who, name) for pile in known.piles for who, name in pile.names.items()]
    return tuple(dict.fromkeys(name for who, name in named if name and who != known.person.id))
