"""What people want that needs no pile: their settings, a pause, a human, their data, how a thing is done."""

from collections.abc import Callable, Mapping
from datetime import date, time, timedelta

from bot.conversation import moving
from bot.conversation.keeper import alert
from bot.conversation.steps import kept_away, next_step
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.conversation.trouble import felt
from bot.language.meaning import Ask
from scheduler.times import on_wall
from shared.cautions import COOL_DOWN_C, STAY_BACK_C
from shared.hygiene import HOT_C
from shared.units import c_from_f

Wish = Callable[[Known, Ask, Outcome], None]


def help_(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """Who, what, how often, how to stop."""
    outcome.say("help", programme=known.profile.programme)
    contact = known.profile.staff.contact
    if contact:
        outcome.say("help.person", contact=contact)


def person(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """A human is wanted: the staff are told, and the person learns when one will look."""
    hours = known.profile.staff.hours.get(known.person.language)
    outcome.alerts.append(alert("alert.person", known, None))
    if known.profile.staff.contact is None:
        outcome.say("person.nobody")
    elif hours:
        outcome.say("person.hours", contact=known.profile.staff.contact, when=hours)
    else:
        outcome.say("person.contact", contact=known.profile.staff.contact)


def pause(known: Known, ask: Ask, outcome: Outcome) -> None:
    """No nudges until a day, or until the person writes again."""
    put_off(known, ask.on or date.max, outcome)
    if ask.on:
        outcome.say("pause.until", until_on=ask.on.isoformat())
    else:
        outcome.say("pause.open")
    if known.piles and ask.on:
        outcome.say(f"pause.job{how_damp(known, known.piles[0])}")
    outcome.opens = {}


def how_damp(known: Known, pile: KnownPile) -> str:
    """What the job before a holiday hangs on: the last squeeze, else the forecast; "" is to water it."""
    word = felt(pile, known.today)
    if word in ("soggy", "bit_wet"):
        return ".wet"
    outlook, _ = known.look(pile.row, pile.records, known.today)
    return ".damp" if word == "right" or (word is None and outlook.water_litres < 1) else ""


def resume(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """Back again: reminders go on, and here is what the pile wants now."""
    outcome.changes.update(paused_until=None, unanswered=0)
    told = bool(outcome.lines)
    outcome.say("resumed")
    if len(known.piles) == 1 and not told:
        pile = known.piles[0]
        next_step(known, pile, pile.records, known.look(pile.row, pile.records, known.today), outcome)


def later(known: Known, ask: Ask, outcome: Outcome) -> None:
    """Put the reminder off to a day, tomorrow at the soonest: within a day of their words nothing comes."""
    tomorrow = known.today + timedelta(days=1)
    on = max(ask.on or tomorrow, tomorrow)
    put_off(known, on, outcome)
    outcome.say("later", until_on=on.isoformat())


def put_off(known: Known, until: date, outcome: Outcome) -> None:
    """Nothing before that day; on it the piles are looked at, however far off their next look was."""
    outcome.changes["paused_until"] = until
    if until != date.max:
        outcome.changes["next_look_at"] = on_wall(until, time.min, known.person.zone)


def calendar(known: Known, ask: Ask, outcome: Outcome) -> None:
    """The address of a calendar with the next jobs, a new one ends the old; without pages the next job."""
    outcome.calendar = "new" if ask.kind == "new_calendar" else "link"
    if known.public_url is None:
        outcome.say("calendar.off")
        for pile in known.piles[:1]:
            found = known.look(pile.row, pile.records, known.today)
            next_step(known, pile, pile.records, found, outcome, why=False)


def language(_known: Known, ask: Ask, outcome: Outcome) -> None:
    outcome.changes["language"] = ask.language
    outcome.say("language.changed")


def units(_known: Known, ask: Ask, outcome: Outcome) -> None:
    outcome.changes["units"] = ask.units
    outcome.say(f"units.{ask.units}")


def schedule(known: Known, ask: Ask, outcome: Outcome) -> None:
    """A chosen day or time is kept from now on."""
    if ask.weekday:
        outcome.changes["weekday"] = ask.weekday
    if ask.at:
        outcome.changes["nudge_at"] = ask.at
    weekday, at = ask.weekday or known.person.weekday, ask.at or known.person.nudge_at
    if weekday and at:
        outcome.say("schedule.both", weekday_word=weekday, at_at=at.isoformat("minutes"))
    elif weekday:
        outcome.say("schedule.day", weekday_word=weekday)
    elif at:
        outcome.say("schedule.time", at_at=at.isoformat("minutes"))
    else:
        which_time(outcome)


def which_time(outcome: Outcome) -> None:
    """Days and hours that suit many; any other in words."""
    outcome.say("schedule.which")
    outcome.ask("schedule", "saturdays", "sundays", "evenings")


def not_before(known: Known, ask: Ask, outcome: Outcome) -> None:
    """Nothing before an hour; who complains of an early text gets none before the usual hours."""
    if ask.at is None:
        which_time(outcome)
        return
    earliest = max(ask.at, known.person.quiet_to)
    outcome.changes["quiet_to"] = earliest
    outcome.say("schedule.not_before", at_at=earliest.isoformat("minutes"))


def only_about(_known: Known, ask: Ask, outcome: Outcome) -> None:
    outcome.changes["only_about"] = ask.topic
    outcome.say(f"only_about.{ask.topic}")


def cannot_turn(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    """No more turning nudges for this body; the slow way is offered instead."""
    outcome.changes["cannot_turn"] = True
    outcome.opens = {}
    outcome.say("cannot_turn")


def decline(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    """Not now; the question stays, so that a later "done" is about that work."""
    outcome.say("declined")


def unclear_stop(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    outcome.say("stop.unclear")
    outcome.ask("stop_all", "stop", "weekly", "go_on")


def forget_me(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    outcome.say("forget.sure")
    outcome.ask("forget", "forget", "keep")


def my_data(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    outcome.export = True


def to_staff(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """Something for the office, such as a bin order: passed on, reminders continue."""
    outcome.alerts.append(alert("alert.request", known, None))
    contact = known.profile.staff.contact
    if contact:
        outcome.say("to_staff", contact=contact)
        tell_hours(known, outcome)
    else:
        outcome.say("person.nobody")


def tell_hours(known: Known, outcome: Outcome) -> None:
    """When the staff will look, where the programme has said so."""
    if hours := known.profile.staff.hours.get(known.person.language):
        outcome.say("staff_hours", when=hours)


def simple(key: str) -> Wish:
    """An answer that is the same for everybody."""

    def answer(_known: Known, _ask: Ask, outcome: Outcome) -> None:
        outcome.say(key)

    return answer


def how_measure(known: Known, _ask: Ask, outcome: Outcome) -> None:
    outcome.say("how_measure" if known.person.thermometer is not False else "how_feel")


def how_hot(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    """The range that is taught for a hot pile (common practice: 130 to 150 F), and what is too hot."""
    outcome.say("how_hot", low_c=USUAL_HOT_C[0], high_c=USUAL_HOT_C[1], cool_c=COOL_DOWN_C)


def weed_seeds(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    """Whether seeds die: only where it stays hot enough, and never for sure."""
    outcome.say("weed_seeds", hot_c=HOT_C)


USUAL_HOT_C = (c_from_f(130), c_from_f(150))


def fire_risk(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """What is harmless and what is not, and from which heat people stay back; from such a pile they do."""
    if any(kept_away(known, pile, outcome) for pile in known.piles):
        return
    outcome.say("fire_risk", stay_c=STAY_BACK_C, emergency=known.profile.emergency_number)


def can_turn(_known: Known, _ask: Ask, outcome: Outcome) -> None:
    """A body that has healed: turning nudges come again."""
    outcome.changes["cannot_turn"] = False
    outcome.say("can_turn")


WISHES: Mapping[str, Wish] = {
    "help": help_,
    "person": person,
    "pause": pause,
    "resume": resume,
    "start": resume,
    "later": later,
    "language": language,
    "units": units,
    "schedule": schedule,
    "not_before": not_before,
    "only_about": only_about,
    "cannot_turn": cannot_turn,
    "decline": decline,
    "unclear_stop": unclear_stop,
    "forget_me": forget_me,
    "my_data": my_data,
    "to_staff": to_staff,
    "thanks": simple("thanks"),
    "greeting": simple("greeting"),
    "how_measure": how_measure,
    "how_turn": simple("how_turn"),
    "how_build": simple("how_build"),
    "how_hot": how_hot,
    "how_ready": simple("how_ready"),
    "fire_risk": fire_risk,
    "how_often": simple("how_often"),
    "tap_water": simple("tap_water"),
    "shrinks": simple("shrinks"),
    "weed_seeds": weed_seeds,
    "start_over": simple("start_over"),
    "cold_start": simple("cold_start"),
    "health": simple("health"),
    "can_turn": can_turn,
    "what_browns": simple("what_browns"),
    "worms": simple("worms"),
    "privacy": simple("privacy"),
    "move": moving.ask,
    "calendar": calendar,
    "new_calendar": calendar,
}
