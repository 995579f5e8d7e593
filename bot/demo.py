"""An invented county to look at: classes, graduates, families and piles with a season of messages.

Larkmoor County and everybody in it are invented; the numbers are those kept for fiction (+1 NPA 555 01xx).
The same seed gives the same county. Some seasons are told in words, through the same code as any message;
of the others only the records are written, so that the whole takes less than a minute.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import product
from math import exp
from random import Random

from bot.profile import Profile
from scheduler.times import on_wall
from shared.errors import BadInput
from shared.pile import Record
from storage.broadcasts import Audience
from storage.classes import ClassRow
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
GREENS = ("grass_clippings", "vegetable_scraps", "coffee_grounds")
BROWNS = ("dry_leaves", "straw", "shredded_paper")
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
)


def fill(store: Store, profile: Profile, at: datetime, seed: int = 1) -> Member:
    """Fill an empty database up to the moment `at`; gives the coordinator.

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
        work.commit()
    return coordinator


class _County:
    def __init__(self, work: Work, profile: Profile, at: datetime, chance: Random) -> None:
        self.work, self.profile, self.at, self.chance = work, profile, at, chance
        self.numbers = (f"+1{area}55501{n:02d}" for area, n in product(AREAS, range(100)))
        self.joined: list[int] = []
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
                continue
            if taught.days_ago and self.chance.random() < 0.78:
                alone.append(self.heap(person, joined))

    def reach(self, coordinator: Member) -> None:
        """Approved answers, a text to many that waits for a second person, and a survey half way."""
        educator = next(member for member in self.work.staff.all() if member.role == "educator")
        for topic, en, es in ANSWERS:
            written = self.work.approved.write(topic, en, es, educator.id)
            self.work.approved.approve(written.id, coordinator.id, self.at - timedelta(days=90))
        self.work.broadcasts.draft(
            "Save your leaves", Audience(going=True), *LEAVES, per_hour=60, made_by=educator.id, at=self.at
        )
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


class Season:
    """One keeper's season: how warm the pile ran, what was told of it, and when that ended."""

    def __init__(self, chance: Random, built: date) -> None:
        self.chance, self.built = chance, built
        self.turns_every = chance.choice((7, 7, 14, 14, 30, 200))
        self.done_days = round(chance.lognormvariate(0, 0.25) * (70 + 1.2 * min(self.turns_every, 60)))
        self.kept_days = self.done_days + 10 if chance.random() < 0.45 else round(chance.expovariate(1 / 45))
        self.peak_c = chance.gauss(57, 7)

    def set_up(self) -> dict[str, object]:
        """How the pile is built."""
        litres = self.chance.choice((300.0, 400.0, 500.0, 600.0))
        return {
            "built": self.built.isoformat(),
            "length_m": 0.91,
            "width_m": 0.91,
            "height_m": 0.91,
            "bin": self.chance.random() < 0.7,
            "fed": False,
            "ingredients": [
                [self.chance.choice(BROWNS), litres],
                [self.chance.choice(GREENS), 0.8 * litres],
            ],
            "assumed": [],
        }

    def promised(self) -> tuple[date, date]:
        """The range that was told; about four of five hold what came."""
        middle = self.done_days * self.chance.lognormvariate(0, 0.17)
        return tuple(self.built + timedelta(days=round(middle * part)) for part in (0.78, 1.25))  # type: ignore[return-value]

    def records(self) -> list[Record]:
        """What was told, day by day."""
        told: list[Record] = []
        day, turned = 2, 0
        while day <= min(self.kept_days, self.done_days - 6):
            on = self.built + timedelta(days=day)
            if day - turned >= self.turns_every:
                told.append(Record("turned", on))
                turned = day
            told.append(Record("temperature", on, core_c=round(self.core_c(day, turned), 1)))
            if self.chance.random() < 0.4:
                told.append(
                    Record("moisture", on, word=self.chance.choice(("dry", "bit_dry", "right", "bit_wet")))
                )
            if self.chance.random() < 0.25:
                told.append(Record("watered", on, litres=self.chance.choice((8.0, 15.0, 20.0))))
            if self.chance.random() < 0.2:
                told.append(Record("added", on, material=self.chance.choice(GREENS), litres=19.0))
            day += self.chance.randrange(2, 7)
        return told + (self.finish() if self.kept_days > self.done_days else [])

    def core_c(self, day: int, turned: int) -> float:
        """How warm it was: a rise within days, a slow fall, a smaller rise after each turn."""
        rise = (self.peak_c - 18) * min(1.0, day / 3) * exp(-day / 40)
        again = 6 * exp(-(day - turned) / 4) if turned else 0.0
        return 18 + rise + again + self.chance.gauss(0, 2)

    def finish(self) -> list[Record]:
        """What a keeper tells of a pile that is done."""
        done = self.built + timedelta(days=self.done_days)
        signs = [
            Record("texture", done, word="crumbly"),
            Record("smell", done, word="earthy"),
            Record("temperature", done, core_c=24.0),
        ]
        taken = done + timedelta(days=self.chance.randrange(3, 20))
        litres = self.chance.choice((None, 95.0, 130.0, 170.0))
        return signs if self.chance.random() < 0.3 else [*signs, Record("harvested", taken, litres=litres)]


TOLD: Sequence[tuple[int, str, str, str]] = (
    (58, "12:05", "+17195550170", "FEN36"),
    (58, "12:06", "+17195550170", "yes"),
    (
        57,
        "09:10",
        "+17195550170",
        "Alba here. built it this morning, 3x3x3 wire bin, 6 buckets grass 10 buckets dry leaves",
    ),
    (57, "09:12", "+17195550170", "1"),
    (57, "09:13", "+17195550170", "1"),
    (54, "18:20", "+17195550170", "temp 138, damp"),
    (51, "18:40", "+17195550170", "124 and looks dry"),
    (50, "19:05", "+17195550170", "gave it 10 gal and turned it"),
    (47, "18:02", "+17195550170", "139!"),
    (40, "18:30", "+17195550170", "turned, 117, smells fine"),
    (33, "10:15", "+17195550170", "can i add orange peels"),
    (20, "18:00", "+17195550170", "when will it be done"),
    (6, "18:31", "+17195550170", "96, bit dry, turned"),
    (110, "11:50", "+17195550171", "MAR73"),
    (110, "11:51", "+17195550171", "sí"),
    (
        108,
        "17:10",
        "+17195550171",
        "ya la armé ayer, 4 pies por lado y 3 de alto, 8 cubetas de zacate y 12 de hojas secas",
    ),
    (108, "17:12", "+17195550171", "1"),
    (108, "17:12", "+17195550171", "no tengo"),
    (104, "18:00", "+17195550171", "está bien caliente"),
    (97, "18:30", "+17195550171", "la volteé y le eché agua, 2 cubetas"),
    (80, "18:10", "+17195550171", "huele a huevo podrido"),
    (79, "18:00", "+17195550171", "ya la voltié"),
    (45, "09:00", "+17195550171", "¿le puedo echar cáscara de limón?"),
    (3, "17:40", "+17195550171", "quiero hablar con una persona, no me sale tibia"),
    (5, "16:00", "+17195550172", "FEN36"),
    (5, "16:01", "+17195550172", "yes"),
    (5, "16:20", "+17195550172", "who is this? wrong number"),
    (1, "13:15", "+17195550170", "156 and theres smoke coming out the side"),
    (1, "13:40", "+17195550170", "fire dept came, its out"),
)
"""What three people have texted: days ago, time of day, from where, and the words."""


def said(profile: Profile, at: datetime) -> Iterator[tuple[datetime, str, str]]:
    """The messages of `TOLD` with their moments [UTC], oldest first."""
    today = at.date()
    messages = [
        (on_wall(today - timedelta(days=days), time.fromisoformat(clock), profile.zone), number, words)
        for days, clock, number, words in TOLD
    ]
    return iter(sorted((one for one in messages if one[0] < at), key=lambda one: one[0]))
