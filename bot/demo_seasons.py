"""The invented keepers' seasons: how warm their piles ran, what was told of them, and in which words."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import groupby
from math import exp
from random import Random
from typing import NamedTuple

from bot.profile import Profile
from scheduler.times import on_wall
from shared.pile import Record
from shared.units import BUCKET_L, L_PER_GAL, f_from_c
from storage.people import Language

GREENS = ("grass_clippings", "vegetable_scraps", "coffee_grounds")
BROWNS = ("dry_leaves", "straw", "shredded_paper")
WORDS: dict[Language, dict[str, str]] = {
    "en": {
        "built": "built it this morning, 3 ft each way, {browns} buckets of {brown} and {greens} of {green}",
        "turned": "turned it",
        "temperature": "temp {f}",
        "dry": "looks dry",
        "bit_dry": "a bit dry",
        "right": "just damp",
        "bit_wet": "a bit wet",
        "watered": "gave it {gal} gal of water",
        "added": "put in a bucket of {green}",
        "crumbly": "it is crumbly now",
        "earthy": "smells earthy",
        "harvested": "took out {buckets} buckets of compost",
        "grass_clippings": "grass clippings",
        "vegetable_scraps": "kitchen scraps",
        "coffee_grounds": "coffee grounds",
        "dry_leaves": "dry leaves",
        "straw": "straw",
        "shredded_paper": "shredded paper",
    },
    "es": {
        "built": "la armé hoy, 3 pies por lado, {browns} cubetas de {brown} y {greens} de {green}",
        "turned": "ya la volteé",
        "temperature": "está a {f}",
        "dry": "se ve seca",
        "bit_dry": "un poco seca",
        "right": "húmeda como debe",
        "bit_wet": "un poco mojada",
        "watered": "le eché {litres} litros de agua",
        "added": "le puse una cubeta de {green}",
        "crumbly": "ya está desmoronada",
        "earthy": "huele a tierra",
        "harvested": "saqué {buckets} cubetas de composta",
        "grass_clippings": "zacate",
        "vegetable_scraps": "restos de verdura",
        "coffee_grounds": "café molido",
        "dry_leaves": "hojas secas",
        "straw": "paja",
        "shredded_paper": "papel picado",
    },
}


class Told(NamedTuple):
    """A text: when it came [UTC], from where, who wrote it, and the words."""

    at: datetime
    phone: str
    name: str | None
    words: str


class Season:
    """One keeper's season: how warm the pile ran, what was told of it, and when that ended."""

    def __init__(self, chance: Random, built: date) -> None:
        self.chance, self.built = chance, built
        self.turns_every = chance.choice((7, 7, 14, 14, 30, 200))
        self.done_days = round(chance.lognormvariate(0, 0.25) * (70 + 1.2 * min(self.turns_every, 60)))
        self.kept_days = self.done_days + 10 if chance.random() < 0.45 else round(chance.expovariate(1 / 45))
        self.peak_c = chance.gauss(57, 7)
        self.brown, self.green = chance.choice(BROWNS), chance.choice(GREENS)
        self.brown_l = chance.choice((300.0, 400.0, 500.0, 600.0))

    def set_up(self) -> dict[str, object]:
        """How the pile is built."""
        return {
            "built": self.built.isoformat(),
            "length_m": 0.91,
            "width_m": 0.91,
            "height_m": 0.91,
            "bin": self.chance.random() < 0.7,
            "fed": False,
            "ingredients": [[self.brown, self.brown_l], [self.green, 0.8 * self.brown_l]],
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

    def texts(self, language: Language) -> Iterator[tuple[date, str]]:
        """The same in words, a text a day."""
        say, browns = WORDS[language], self.brown_l / BUCKET_L
        yield (
            self.built,
            say["built"].format(
                browns=round(browns), brown=say[self.brown], greens=round(0.8 * browns), green=say[self.green]
            ),
        )
        for on, records in groupby(self.records(), key=lambda record: record.on):
            yield on, ", ".join(_in_words(record, say) for record in records)


def _in_words(record: Record, say: dict[str, str]) -> str:
    return say[record.word or record.kind].format(
        f=None if record.core_c is None else round(f_from_c(record.core_c)),
        gal=round((record.litres or 0) / L_PER_GAL),
        litres=round(record.litres or 0),
        buckets=round((record.litres or BUCKET_L) / BUCKET_L),
        green=say.get(record.material or ""),
    )


NAMED = {
    "+17195550170": "Alba",
    "+17195550171": "Eulalia",
    "+17195550173": "Corvin",
    "+17195550174": "Tadea",
}
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
    (44, "12:00", "+17195550173", "FEN36"),
    (44, "12:01", "+17195550173", "yes"),
    (
        43,
        "10:00",
        "+17195550173",
        "built yesterday, 4x4x3 ft heap, 20 buckets leaves, 12 of scraps",
    ),
    (30, "18:00", "+17195550173", "its not heating up, 70"),
    (24, "18:30", "+17195550173", "still cold, 68"),
    (2, "19:10", "+17195550173", "lady next door says it stinks and is calling the county"),
    (90, "12:00", "+17195550174", "MAR73"),
    (90, "12:01", "+17195550174", "si"),
    (88, "10:00", "+17195550174", "la armé ayer, 3x3x3 pies, 14 cubetas de hojas y 12 de zacate"),
    (60, "18:00", "+17195550174", "no calienta, está a 75"),
    (54, "18:00", "+17195550174", "sigue fría, 72"),
    (1, "13:15", "+17195550170", "156 and theres smoke coming out the side"),
    (1, "13:40", "+17195550170", "fire dept came, its out"),
)
"""What some people have texted: days ago, time of day, from where, and the words."""


def said(profile: Profile, at: datetime) -> Iterator[Told]:
    """The messages of `TOLD` that have come by `at`."""
    for days, clock, number, words in TOLD:
        moment = on_wall(at.date() - timedelta(days=days), time.fromisoformat(clock), profile.zone)
        if moment < at:
            yield Told(moment, number, NAMED.get(number), words)
