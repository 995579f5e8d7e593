"""The calendar and the pictures of one keeper, under addresses that only they were told."""

from zoneinfo import ZoneInfo

from bot.calendar_feed import Job, Ready, calendar_feed
from bot.conversation.steps import worded
from bot.conversation.talk import Known, KnownPile
from bot.language.wording import Voice
from bot.picture import pile_picture
from bot.web.office import ANYBODY, Answer, Download, Drawn, Page, Visit
from shared.errors import BadInput
from storage.people import Person
from storage.work import Work

KEY_LETTERS = 43


def feed(visit: Visit) -> Answer:
    """The next jobs and ready ranges; nobody's calendar where the key is unknown or was renewed."""
    key = visit.path["key"]
    with visit.office.store.work(reading=True) as work:
        person = work.people.by_calendar_key(key) if len(key) == KEY_LETTERS else None
        if person is None:
            return Drawn("no_calendar.html", status=404)
        return Download("piles.ics", _written(visit, work, person), "text/calendar; charset=utf-8")


def _written(visit: Visit, work: Work, person: Person) -> bytes:
    office, jobs, ready = visit.office, [], []
    local = visit.at.astimezone(ZoneInfo(person.zone)).replace(tzinfo=None)
    voice = Voice(person.language, person.units, local.date())
    for row in work.piles.of(person.id):
        pile = KnownPile(row, tuple(work.piles.records(row.id)))
        known = Known(person, office.profile, local, (pile,), office.look)
        try:
            outlook, actions = office.look(row, pile.records, local.date())
        except BadInput:  # not set up yet
            continue
        on = max(actions[0].on or local.date(), local.date())
        jobs.append(Job(row.id, pile.called, on, voice.say([worded(known, actions[0])])))
        if outlook.stage != "ready" and not row.setup.get("fed"):
            ready.append(Ready(row.id, pile.called, outlook.ready.p10, outlook.ready.p90))
    return calendar_feed(voice, office.profile.programme, jobs, ready, visit.at)


def picture(visit: Visit) -> Answer:
    """The picture of a pile, for a phone whose messages show none."""
    office = visit.office
    with office.store.work(reading=True) as work:
        found = work.people.by_picture_key(visit.path["key"], visit.at.date())
        if found is None or found[1] not in {row.id for row in work.piles.of(found[0].id)}:
            return Drawn("no_calendar.html", status=404)
        drawn = pile_picture(work, office.look, found[1], found[0], visit.at)
    return Download("pile.png", drawn, "image/png")


PAGES = (
    Page("/picture/{key}.png", "GET", ANYBODY, picture),
    Page("/calendar/{key}.ics", "GET", ANYBODY, feed),
)
