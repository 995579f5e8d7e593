"""An invented county to look at: classes, graduates, families and piles with a season of messages.

Larkmoor County and everybody in it are invented; the numbers are those kept for fiction (+1 NPA 555 01xx).
The same seed gives the same county. Some seasons are told in words, through the same code as any message;
of the others only the records are written, so that the whole takes about a minute.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from importlib.metadata import version
from itertools import product
from random import Random

from bot.demo_seasons import Season, Told, said
from bot.profile import Profile
from bot.staff.enrol import take_in
from bot.staff.roster_file import entries
from bot.web.pages.reports import year_of
from scheduler.times import on_wall
from shared.errors import BadInput
from storage.broadcasts import Audience
from storage.classes import ClassRow
from storage.outbox import Line
from storage.people import Language, Person
from storage.staff import Member
from storage.surveys import Item
from storage.work import Store, Work

NAMES: dict[Language, str] = {
    "en": "Odalys Ferris Nima Tobin Wren Hollis Mabry Corin Jessa Alder Linus Oona Rafe Tilly Bram Sorrel "
    "Edda Ansel Maeve Gil Nell Otis Hazel Ivo Lark Juno Abel Tess Rowan",
    "es": "Chucho Belia Nacho Lupe Chela Beto Marisol Toño Inés Rocío Memo Yoli Fidel Nieves Quique Paz "
    "Lalo Consuelo Amparo Ciro Delia Fermín Gala Hilario Jacinta Leandro Mireya Nelson Olalla Petra",
}
CONSENT: dict[Language, str] = {
    "en": "This is the compost line of Larkmoor County. OK to text you?",
    "es": "Esta es la línea de composta del condado de Larkmoor. ¿Te podemos escribir?",
}
AREAS = ("505", "575", "970", "719")
"""Any region will do: 555 0100 to 0199 is kept for fiction in each."""


ANSWERS = (
    (
        "No heat",
        "Mix in greens, water until a squeezed handful gives a drop or two, and turn it once.",
        "Revuelve material verde, mójala hasta que un puño suelte una o dos gotas y voltéala una vez.",
    ),
    (
        "Next class",
        "The next class is on the first Saturday of the month at Cinder Lane Garden.",
        "La próxima clase es el primer sábado del mes en el huerto Cinder Lane.",
    ),
)
LEAVES = (
    "Leaves are falling. Keep ten bags dry: they are your browns until summer.",
    "Ya caen las hojas. Guarda diez bolsas secas: te alcanzan de material seco hasta el verano.",
)
SURVEY = (
    Item(
        "Do you still keep a pile?",
        "¿Sigue con su pila?",
        (("yes", "sí"), ("no", "no"), ("resting", "descansa")),
    ),
    Item(
        "What helps most?",
        "¿Qué le ayuda más?",
        (("reminders", "recordatorios"), ("answers", "respuestas"), ("dates", "fechas")),
    ),
)


@dataclass(frozen=True, slots=True)
class Taught:
    """A class of the demo: how long ago, in which language, and how many came to join."""

    code: str
    title: str
    place: str
    language: Language
    days_ago: int
    seats: int
    joined: int


CLASSES = (
    Taught("FAR34", "Compost at home, first spring", "Cinder Lane Garden", "en", 410, 30, 24),
    Taught("KAR67", "Composta en casa", "Salón Los Álamos", "es", 330, 25, 20),
    Taught("PUM49", "Compost at home, autumn", "Old Mill Hall", "en", 215, 30, 26),
    Taught("MAR73", "Composta en casa, primavera", "Salón Los Álamos", "es", 120, 25, 22),
    Taught("FEN36", "Compost at home, summer", "Cinder Lane Garden", "en", 60, 30, 22),
    Taught("RYE44", "Leaves into compost", "Old Mill Hall", "en", 0, 30, 9),
    Taught("HUM93", "Composta en invierno", "Salón Los Álamos", "es", -9, 25, 0),
)
SPOKEN = {"MAR73": 4, "FEN36": 2}
"""Of these classes, one keeper in so many texts; the others' seasons are written down without words."""
HEAT = (
    "It is above 100 F all week. Water your pile at dusk before you turn it.",
    "Hace más de 38 C toda la semana. Moja tu pila al atardecer antes de voltearla.",
)
LIST = (
    ("Nombre", "Teléfono", "Idioma", "Hoja"),
    ("Ofelia", "(970) 555-0160", "español", "P-1"),
    ("Ebbe", "970.555.0161", "English", "P-2"),
    ("Ebbe", "970 555 0161", "English", ""),
    ("Rufo", "555 016", "es", "P-3"),
    ("Signe", "+1 970 555 0162", "dansk", "P-4"),
)
"""Part of a spreadsheet as one comes from a class: a person twice, half a number, a language that we lack."""


def fill(store: Store, profile: Profile, at: datetime, seed: int = 1) -> tuple[Member, list[Told]]:
    """Fill an empty database up to the moment `at`.

    Gives the coordinator, and the texts that have come in since, oldest first, for the program to answer.

    Raises BadInput where the database holds anybody already.
    """
    with store.work() as work:
        if work.people.anybody():
            raise BadInput("demo: this database has people in it; name an empty one in WARMHEAP_DATABASE_URL")
        county = _County(work, profile, at, Random(seed))
        coordinator = county.staff()
        for taught in CLASSES:
            county.teach(taught)
        county.reach(coordinator)
        county.keep_books(coordinator)
        work.commit()
    return coordinator, sorted([*county.told, *said(profile, at)])


class _County:
    def __init__(self, work: Work, profile: Profile, at: datetime, chance: Random) -> None:
        self.work, self.profile, self.at, self.chance = work, profile, at, chance
        self.numbers = (f"+1{area}55501{n:02d}" for area, n in product(AREAS, range(100)))
        self.joined: list[int] = []
        self.piles: list[int] = []
        self.told: list[Told] = []
        self.names = {language: self._shuffled(language) for language in NAMES}

    def _shuffled(self, language: Language) -> Iterator[str]:
        while True:
            names = NAMES[language].split()
            yield from self.chance.sample(names, len(names))

    def staff(self) -> Member:
        """A coordinator, an educator and a volunteer."""
        start = self.at - timedelta(days=430)
        roles = (("Ike", "coordinator", "en"), ("Maren", "educator", "en"), ("Belén", "volunteer", "es"))
        members = []
        for name, role, language in roles:
            person = self.person(name, language, start, None)  # type: ignore[arg-type]
            code = self.work.staff.invite(name, role, None, start)  # type: ignore[arg-type]
            members.append(self.work.staff.join(code, person.id, start))
        assert members[0] is not None
        return members[0]

    def person(self, name: str, language: Language, at: datetime, class_code: str | None) -> Person:
        """Somebody who has said yes at this moment."""
        add = self.work.people.add
        person = add("sms", next(self.numbers), name, language, self.profile.units, self.profile.zone, at)
        return self.work.people.consent(
            person.id, True, CONSENT[language], language, "sms", class_code, "demo", at
        )

    def teach(self, taught: Taught) -> None:
        """A class, who joined it, and what became of them."""
        day = (self.at - timedelta(days=taught.days_ago)).date()
        zone = self.profile.zone
        self.work.classes.add(
            ClassRow(taught.code, taught.language, zone, taught.seats, day, taught.title, taught.place)
        )
        alone: list[int] = []
        for _ in range(taught.joined):
            joined = on_wall(day + timedelta(days=self.chance.choice((0, 0, 0, 0, 1, 2))), time(11, 40), zone)
            if joined > self.at:
                joined = self.at - timedelta(minutes=self.chance.randrange(5, 90))
            person = self.person(next(self.names[taught.language]), taught.language, joined, taught.code)
            if taught.days_ago > 40:
                self.joined.append(person.id)
            if self.chance.random() < 0.3:
                kind = self.chance.choice(("County bin", "Pallet bin"))
                self.work.classes.sell_bin(
                    taught.code,
                    kind,
                    day,
                    serial=f"{taught.code}-{person.id}",
                    price_cents=2500,
                    person_id=person.id,
                )
            self.work.people.change(
                person.id, composted_before=self.chance.choice((False, False, True, None))
            )
            if alone and self.chance.random() < 0.15:
                self.work.piles.join(self.chance.choice(alone), person.id, joined)
            elif taught.days_ago and self.chance.random() < 0.78:
                if person.id % SPOKEN.get(taught.code, person.id + 1) == 0:
                    self.tell(person, joined)
                else:
                    alone.append(self.heap(person, joined))
        self.piles += alone

    def reach(self, coordinator: Member) -> None:
        """Approved answers, a text to many that went out and one that waits, and a survey half way."""
        educator = next(member for member in self.work.staff.all() if member.role == "educator")
        for topic, en, es in ANSWERS:
            written = self.work.approved.write(topic, en, es, educator.id)
            self.work.approved.approve(written.id, coordinator.id, self.at - timedelta(days=90))
        broadcasts = self.work.broadcasts
        sent_at = self.at - timedelta(days=100)
        went = broadcasts.draft("Heat wave", Audience(topic="water"), *HEAT, 60, educator.id, sent_at)
        broadcasts.approve(went.id, coordinator.id, sent_at, sent_at)
        broadcasts.begin(went.id, sent_at)
        for person_id in self.joined[:40]:
            self.send(went.id, person_id, sent_at)
        broadcasts.end(went.id, sent_at)
        broadcasts.draft("Save your leaves", Audience(going=True), *LEAVES, 60, educator.id, self.at)
        self.survey(coordinator)

    def send(self, broadcast_id: int, person_id: int, at: datetime) -> None:
        """A text to many as one person got it; one phone in twenty takes none."""
        person = self.work.people.get(person_id)
        row_id = self.work.outbox.add(
            person_id,
            "broadcast",
            [Line("broadcast", {"text": HEAT[person.language == "es"]})],
            due_at=at,
            unique_key=f"demo.broadcast:{person_id}",
            reason={"why": "broadcast"},
            broadcast_id=broadcast_id,
        )
        assert row_id is not None
        if self.chance.random() < 0.05:
            self.work.outbox.failed(row_id, "no such number")
        else:
            self.work.outbox.sent(row_id, at, HEAT[person.language == "es"], None)

    def survey(self, coordinator: Member) -> None:
        """Two questions, a week apart; some answer, some skip, some are silent."""
        today = self.at.date()
        survey = self.work.surveys.add(
            "Autumn", SURVEY, today - timedelta(days=21), today + timedelta(days=14), coordinator.id
        )
        for person_id in self.joined:
            for place, item in enumerate(SURVEY):
                asked = self.at - timedelta(days=20 - 7 * place)
                if not self.work.surveys.ask(survey.id, person_id, place, asked):
                    continue
                if self.chance.random() < 0.6:
                    said = self.chance.choice((*range(len(item.answers)), None))
                    self.work.surveys.answer(survey.id, place, said, person_id, asked + timedelta(hours=2))

    def keep_books(self, coordinator: Member) -> None:
        """A list and a logger's file that were brought in, a volunteer's piles, a hold, a look, last year."""
        volunteer = next(member for member in self.work.staff.all() if member.role == "volunteer")
        for pile_id in self.piles[-3:]:
            self.work.staff.assign(volunteer.id, pile_id, self.at)
        columns = {"name": 0, "number": 1, "language": 2, "reference": 3}
        roster = self.work.rosters.draft(
            "RYE44", coordinator.id, "hoja de firmas.csv", columns, LIST, self.at
        )
        take_in(self.work, self.profile, roster, entries(LIST, columns), self.at)
        night = datetime.combine(self.at.date() - timedelta(days=4), time(0))
        readings = [(night + timedelta(hours=6 * n), 48.0 + n % 4 - n / 5) for n in range(12)]
        logger = self.work.logger_files.draft(
            self.piles[-1], coordinator.id, "school pile.csv", readings, self.at
        )
        self.work.logger_files.take(logger.id, self.at)
        self.work.privacy.hold(self.joined[0], "Records request 12", coordinator.id, self.at)
        self.work.staff.looked(coordinator.id, self.joined[0], "thread", self.at)
        year = self.at.year - 1
        end = on_wall(date(year + 1, 1, 1), time(0), self.profile.zone)
        last = year_of(self.work, year, date(year, 12, 31), end)
        self.work.reports.freeze(year, date(year, 12, 31), coordinator.id, self.at, version("warmheap"), last)

    def tell(self, person: Person, joined: datetime) -> None:
        """A season that its keeper texts."""
        season = Season(self.chance, (joined + timedelta(days=self.chance.randrange(1, 9))).date())
        for on, words in season.texts(person.language):
            moment = on_wall(on, time(17 + on.day % 3, on.day), person.zone)
            if joined < moment < self.at:
                self.told.append(Told(moment, person.address, person.name, words))

    def heap(self, person: Person, joined: datetime) -> int:
        """A pile and the season of messages that its keeper kept up, as records."""
        built = joined + timedelta(days=self.chance.randrange(0, 12))
        row = self.work.piles.found(person.id, person.zone, built)
        season = Season(self.chance, built.date())
        self.work.piles.set_up(row.id, person.id, season.set_up(), built)
        heard = built
        for record in season.records():
            moment = on_wall(record.on, time(17 + record.on.day % 3, record.on.day), person.zone)
            if moment < self.at:
                self.work.piles.record(row.id, person.id, record, moment)
                heard = max(heard, moment)
        self.work.people.change(person.id, last_heard_at=heard)
        first, last = season.promised()
        self.work.piles.promise(row.id, first, last, built + timedelta(days=1))
        return row.id
