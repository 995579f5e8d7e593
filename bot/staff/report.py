"""A year's figures as words and tables, in one language: the page, the PDF and the CSV print the same.

Each section says what its figures mean and what they do not. `figures.py` has the rules behind them.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from babel.dates import format_date
from babel.numbers import format_decimal, format_percent

from shared.units import BUCKET_L, KG_PER_LB

Say = Callable[[str], str]
"""From an English sentence to the reader's language."""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, what stands under it, and a table; the first cell of a row names it.

    points   a curve to draw beside the table: (day, share, low, high)
    """

    title: str
    notes: tuple[str, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    points: tuple[tuple[int, float, float, float], ...] = field(default=())


def forecasts_section(kept: Mapping[str, Any], say: Say, locale: str) -> Section:
    """Only whether the dates were right, for everybody to see."""
    return _Writer(say, locale, "f").forecasts(kept)


def sections(figures: Mapping[str, Any], say: Say, locale: str, units: str) -> list[Section]:
    """The whole report. `units`: "f" for pounds and buckets, "c" for kilograms and litres."""
    write = _Writer(say, locale, units)
    return [
        write.classes(figures["classes"]),
        write.households(figures["households"]),
        write.going(figures["going"]),
        *write.going_by(figures["going"], figures["classes"]["each"]),
        write.batches(figures["batches"]),
        write.diversion(figures["diversion"]),
        write.forecasts(figures["forecasts"]),
        write.questions(figures["questions"]),
        *write.surveys(figures["surveys"]),
        write.method(figures),
    ]


@dataclass(frozen=True, slots=True)
class _Writer:
    say: Say
    locale: str
    units: str

    def number(self, value: float | None) -> str:
        return "–" if value is None else format_decimal(round(value), locale=self.locale)

    def tenths(self, value: float) -> str:
        return format_decimal(value, format="0.0", locale=self.locale)

    def share(self, value: float | None) -> str:
        return "–" if value is None else format_percent(value, locale=self.locale)

    def mass(self, kg: float) -> str:
        if self.units == "f":
            return f"{self.number(kg / KG_PER_LB)} lb"
        return f"{self.number(kg)} kg"

    def volume(self, litres: float) -> str:
        if self.units == "f":
            return self.say("%s buckets") % self.number(litres / BUCKET_L)
        return self.say("%s litres") % self.number(litres)

    def classes(self, of: Mapping[str, Any]) -> Section:
        rows = tuple(
            (
                one["title"] or one["code"],
                format_date(date.fromisoformat(one["taught_on"]), "medium", locale=self.locale),
                self.number(one["seats"]),
                self.number(one["joined"]),
                self.number(one["started"]),
                self.number(one["going"]),
            )
            for one in of["each"]
        )
        held = self.say("%s classes with %s seats.") % (self.number(of["held"]), self.number(of["seats"]))
        head = ("Class", "Day", "Seats", "Joined", "Started", "Still going")
        return Section(self.say("Classes"), (held,), tuple(self.say(cell) for cell in head), rows)

    def households(self, of: Mapping[str, Any]) -> Section:
        names = (
            ("Households that joined", "joined"),
            ("People in them with a phone of their own", "people"),
            ("Households that started a pile", "started"),
            ("Had not composted before", "new"),
            ("Had composted before", "before"),
            ("Have not said whether they had", "not_said"),
            ("People who ended the texts", "stopped"),
            ("People whose phone takes no texts any more (to this day)", "unreachable"),
        )
        note = self.say("People who share a pile are one household.")
        rows = tuple((self.say(name), self.number(of[key])) for name, key in names)
        return Section(self.say("Households"), (note,), (self.say("What"), self.say("Number")), rows)

    def curve_rows(self, curve: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, ...], ...]:
        rows = []
        for point in curve:
            day = self.say("%s days") % point["day"]
            share, n = point["share"], point["followed"]
            if n is None:
                rows.append((day, self.say("too few to tell"), "", "", ""))
                continue
            least, most = point["seen"] / n, (point["seen"] + point["resting"]) / n
            rows.append(
                (
                    day,
                    self.share(share["value"]) if share else "–",
                    f"{self.share(share['low'])} – {self.share(share['high'])}" if share else "–",
                    f"{self.share(least)} – {self.share(most)}",
                    self.number(n),
                )
            )
        return tuple(rows)

    def going(self, of: Mapping[str, Any]) -> Section:
        notes = (
            self.say("Of all households that ever joined. Going means heard of within 60 days."),
            self.say("After a harvest 180 days of silence count as rest. Other silence counts as ended."),
            self.say("It takes 60 days of silence to know, so everybody is followed to 60 days ago."),
            self.say("The bounds count those who rest as all gone, then as all going."),
        )
        head = ("After", "Still going", "19 times of 20 between", "Bounds", "Followed")
        curve = of["all"]["curve"]
        points = tuple(
            (one["day"], one["share"]["value"], one["share"]["low"], one["share"]["high"])
            for one in curve
            if one["share"]
        )
        return Section(
            self.say("Who is still going"),
            notes,
            tuple(self.say(cell) for cell in head),
            self.curve_rows(curve),
            points,
        )

    def going_by(self, of: Mapping[str, Any], classes: Iterable[Mapping[str, Any]]) -> Iterator[Section]:
        called = {one["code"]: f"{one['title']} ({one['code']})" for one in classes if one["title"]}
        titles = {
            "class": "Still going, by class",
            "language": "Still going, by language",
            "bin": "Still going, by bin or open heap",
        }
        days = [point["day"] for point in of["all"]["curve"]]
        for key, title in titles.items():
            groups = of[key]["groups"]
            rows = tuple(
                (
                    called.get(name) or self.group(name),
                    self.number(group["n"]),
                    *(self.share(point["share"] and point["share"]["value"]) for point in group["curve"]),
                )
                for name, group in groups.items()
            )
            hidden = of[key]["hidden"]
            note = (self.say("Groups of fewer than five are not shown: %s.") % self.number(hidden),)
            head = (self.say("Group"), self.say("Households"), *(self.say("%s days") % day for day in days))
            yield Section(self.say(title), note if hidden else (), head, rows)

    def group(self, name: str) -> str:
        words = {
            "en": "English",
            "es": "Spanish",
            "bin": "Bin",
            "heap": "Open heap",
            "unknown": "Not known",
        }
        return self.say(words[name]) if name in words else name

    def batches(self, of: Mapping[str, Any]) -> Section:
        rows = (
            (self.say("Piles built"), self.number(of["built"])),
            (self.say("Of those with a reading, ran hot (113 °F, 45 °C)"), self.part(of, "hot")),
            (self.say("Seen finished: look, smell and no heat"), self.number(of["finished"])),
            (self.say("Median days from building to that"), self.number(of["median_days"])),
            (self.say("Harvests told"), self.number(of["harvests"])),
            (self.say("Compost in the harvests that told an amount"), self.volume(of["harvested_l"])),
        )
        note = self.say("Only what keepers told. A harvest without an amount adds nothing to the last line.")
        return Section(self.say("Piles and compost"), (note,), (self.say("What"), self.say("Number")), rows)

    def part(self, of: Mapping[str, Any], key: str) -> str:
        return self.say("%s of %s") % (self.number(of[key]), self.number(of["with_readings"]))

    def diversion(self, of: Mapping[str, Any]) -> Section:
        names = {
            "new": "Had not composted before",
            "before": "Had composted before",
            "not_said": "Have not said",
        }
        rows = tuple(
            (
                self.say(names[key]),
                self.number(group["households"]),
                self.mass(group["low_kg"]),
                self.mass(group["middle_kg"]),
                self.mass(group["high_kg"]),
                self.number(group["without_amount"]),
            )
            for key, group in of.items()
        )
        lists = sorted({name for group in of.values() for name in group["lists"]})
        notes = [
            self.say(
                "Wet mass of what keepers told with an amount. Only the first line can be claimed as new."
            ),
            self.say("Home composting is waste that never arises. It does not raise a recycling rate."),
        ]
        if lists:
            notes.append(self.say("Pounds for each volume from: %s.") % "; ".join(lists))
        spared_t = [sum(group["spared_t"][end] for group in of.values()) for end in (0, 1)]
        if spared_t[1]:
            claim = self.say(
                "Its food alone, had it gone to a landfill: %s to %s metric tons of CO2-equivalent spared (US"
                " EPA WARM, versions of 2016 to 2023, a rough range)."
                " Nothing is claimed for leaves and grass."
            )
            notes.append(claim % (self.tenths(spared_t[0]), self.tenths(spared_t[1])))
        head = ("Households", "Number", "Low", "Middle", "High", "Entries without an amount")
        return Section(
            self.say("Kept out of the landfill"), tuple(notes), tuple(self.say(cell) for cell in head), rows
        )

    def forecasts(self, of: Mapping[str, Any]) -> Section:
        share = of["share"]
        rows: tuple[tuple[str, ...], ...] = (
            (self.say("Finished within the dates we gave"), self.number(of["kept"])),
            (self.say("Finished sooner"), self.number(of["sooner"])),
            (self.say("Finished later"), self.number(of["later"])),
            (self.say("Share within; we promise %s") % self.share(of["promised_share"]), self.held(share)),
        )
        note = self.say("The dates as they stood four weeks before a finish that the keeper saw.")
        return Section(
            self.say("Were our dates right?"), (note,), (self.say("Piles"), self.say("Number")), rows
        )

    def held(self, share: Mapping[str, Any] | None) -> str:
        if share is None:
            return self.say("nothing to tell yet")
        return f"{self.share(share['value'])} ({self.share(share['low'])} – {self.share(share['high'])})"

    def questions(self, of: Mapping[str, Any]) -> Section:
        rows = (
            (self.say("Answered by the program"), self.number(of["by_program"])),
            (self.say("Answered by staff"), self.number(of["by_staff"])),
            (self.say("Times somebody needed a human"), self.number(of["help_rows"])),
            (self.say("Of those, dangers"), self.number(of["dangers"])),
            (self.say("Of those, complaints"), self.number(of["complaints"])),
            (self.say("Median hours until a human had seen to it"), self.number(of["median_hours"])),
        )
        return Section(self.say("Questions and help"), (), (self.say("What"), self.say("Number")), rows)

    def surveys(self, items: Iterable[Mapping[str, Any]]) -> Iterator[Section]:
        for item in items:
            answered = sum(item["answers"].values())
            spanish = self.locale.startswith("es")
            text = item["text_es" if spanish else "text_en"]
            words = item.get("in_spanish", {}) if spanish else {}
            rows = [
                (words.get(answer, answer), self.number(n), self.bounds(n, answered, item["asked"]))
                for answer, n in item["answers"].items()
            ]
            note = self.say("Asked %s, answered %s, skipped %s. The rest were silent.") % (
                self.number(item["asked"]),
                self.number(answered),
                self.number(item["skipped"]),
            )
            head = (self.say("Answer"), self.say("Number"), self.say("Bounds over all who were asked"))
            yield Section(f"{item['survey']}: {text}", (note,), head, tuple(rows))

    def bounds(self, n: int, answered: int, asked: int) -> str:
        return f"{self.share(n / asked)} – {self.share((n + asked - answered) / asked)}"

    def method(self, figures: Mapping[str, Any]) -> Section:
        day = format_date(date.fromisoformat(figures["data_date"]), "long", locale=self.locale)
        notes = (
            self.say("Everything rests on what keepers texted by %s. Silence is never counted as success.")
            % day,
            self.say("The share still going: Kaplan and Meier 1958. Shares of few: Wilson 1927."),
        )
        return Section(self.say("How this was counted"), notes, (), ())
