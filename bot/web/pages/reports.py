"""What came of it: figures live to yesterday, frozen reports, and a table that anybody may see."""

from datetime import date, datetime, time, timedelta
from functools import partial
from importlib.metadata import version
from typing import Any

from babel.dates import format_date

from bot.language.wording import LOCALES
from bot.staff.figures import figures
from bot.staff.report import Section, forecasts_section, sections
from bot.staff.report_files import as_csv, as_pdf
from bot.web.curve import curve_svg
from bot.web.office import ANYBODY, EDUCATORS, Answer, Download, Drawn, Go, Page, Visit, translate
from scheduler.times import local, on_wall
from shared.errors import BadInput
from storage.reports import FrozenReport
from storage.work import Work

FIRST_YEAR = 2020


def overview(visit: Visit) -> Answer:
    """The years that can be looked at, and what was frozen."""
    this_year = local(visit.at, visit.office.profile.zone).year
    with visit.office.store.work(reading=True) as work:
        first = work.reports.first_year() or this_year
        frozen = work.reports.frozen()
    years = range(this_year, max(first, FIRST_YEAR) - 1, -1)
    return Drawn("reports.html", {"years": years, "frozen": frozen})


def live(visit: Visit) -> Answer:
    """The figures of a year as of last night."""
    found = _live(visit, _year(visit))
    return _drawn(visit, found, None)


def live_file(visit: Visit) -> Answer:
    """The same as a file."""
    return _file(visit, _live(visit, _year(visit)))


def freeze(visit: Visit) -> Answer:
    """Keep the figures of a year as they are, for good."""
    found = _live(visit, _year(visit))
    with visit.office.store.work() as work:
        kept = work.reports.freeze(
            found["year"],
            date.fromisoformat(found["data_date"]),
            visit.who.id,
            visit.at,
            version("warmheap"),
            found,
        )
        work.commit()
    return Go(f"/reports/frozen/{kept.id}")


def frozen(visit: Visit) -> Answer:
    """A frozen report."""
    kept = _frozen(visit)
    return _drawn(visit, kept.figures, kept)


def frozen_file(visit: Visit) -> Answer:
    """The same as a file."""
    return _file(visit, _frozen(visit).figures)


def dates_kept(visit: Visit) -> Answer:
    """Were our dates right? Open to everybody; nothing of anybody stands on it."""
    this_year = local(visit.at, visit.office.profile.zone).year
    found = _live(visit, this_year)
    say = partial(translate, visit.language)
    section = forecasts_section(found["forecasts"], say, LOCALES[visit.language])
    return Drawn(
        "dates_kept.html", {"sections": [section], "data_date": date.fromisoformat(found["data_date"])}
    )


def topics(visit: Visit) -> Answer:
    """What was asked most, week by week; no names, no words of anybody."""
    until = visit.at
    since = until - timedelta(weeks=12)
    with visit.office.store.work(reading=True) as work:
        asked = work.reports.questions(since, until)
    weeks: dict[date, dict[str, int]] = {}
    for one in asked:
        day = local(one.at, visit.office.profile.zone).date()
        week = weeks.setdefault(day - timedelta(days=day.weekday()), {})
        week[one.topic] = week.get(one.topic, 0) + 1
    top = {
        week: sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))[:10]
        for week, counts in sorted(weeks.items(), reverse=True)
    }
    return Drawn("topics.html", {"weeks": top})


def year_of(work: Work, year: int, data_date: date, until: datetime) -> dict[str, Any]:
    """The figures of a year from the rows as they stood at `until`, the end of `data_date`."""
    start = until - timedelta(days=(data_date - date(year, 1, 1)).days + 1)
    return figures(
        year,
        until,
        data_date,
        work.reports.graduates(until),
        work.reports.heaps(until),
        work.reports.classes(),
        work.reports.questions(start, until),
        work.reports.helped(start, until),
        work.reports.surveys(start, until),
        work.reports.blocked(until),
    )


def _live(visit: Visit, year: int) -> dict[str, Any]:
    """As of last night, worked out once a day."""
    data_date, until = _data_date(visit, year)
    with visit.office.store.work(reading=True) as work:
        kept = work.reports.of_day(year, data_date)
        if kept is not None:
            return kept
        found = year_of(work, year, data_date, until)
    with visit.office.store.work() as work:
        work.reports.keep_day(year, data_date, found)
        work.commit()
    return found


def _data_date(visit: Visit, year: int) -> tuple[date, datetime]:
    """Yesterday, or the last day of a year gone by; and the moment when that day ends."""
    zone = visit.office.profile.zone
    day = min(local(visit.at, zone).date() - timedelta(days=1), date(year, 12, 31))
    return day, on_wall(day + timedelta(days=1), time(0), zone)


def _year(visit: Visit) -> int:
    year = int(visit.path["year"])
    if not FIRST_YEAR <= year <= local(visit.at, visit.office.profile.zone).year:
        raise BadInput(f"there are no figures for {year}: choose a year of the list")
    return year


def _frozen(visit: Visit) -> FrozenReport:
    with visit.office.store.work(reading=True) as work:
        kept = work.reports.frozen_report(int(visit.path["report"]))
    if kept is None:
        raise BadInput("there is no such report: choose one of the list")
    return kept


def _sections(visit: Visit, found: dict[str, Any]) -> list[Section]:
    say = partial(translate, visit.language)
    return sections(found, say, LOCALES[visit.language], visit.office.profile.units)


def _drawn(visit: Visit, found: dict[str, Any], kept: FrozenReport | None) -> Answer:
    report = _sections(visit, found)
    curves = {
        section.title: curve_svg(section.points, partial(translate, visit.language))
        for section in report
        if section.points
    }
    values = {"year": found["year"], "data_date": date.fromisoformat(found["data_date"]), "kept": kept}
    return Drawn("report.html", {"sections": report, "curves": curves, **values})


def _file(visit: Visit, found: dict[str, Any]) -> Answer:
    report = _sections(visit, found)
    name = f"{found['year']}-{found['data_date']}-{visit.language}"
    if visit.path["form"] == "csv":
        return Download(f"{name}.csv", as_csv(report), "text/csv; charset=utf-8")
    if visit.path["form"] != "pdf":
        raise BadInput("a report comes as pdf or csv: choose one of the two")
    say = partial(translate, visit.language)
    day = format_date(date.fromisoformat(found["data_date"]), "long", locale=LOCALES[visit.language])
    title = say("The year %s") % found["year"]
    byline = say("%s, data to %s") % (visit.office.profile.programme, day)
    return Download(f"{name}.pdf", as_pdf(title, byline, report, visit.language), "application/pdf")


PAGES = (
    Page("/reports", "GET", EDUCATORS, overview),
    Page("/reports/topics", "GET", EDUCATORS, topics),
    Page("/reports/{year:int}", "GET", EDUCATORS, live),
    Page("/reports/{year:int}.{form}", "GET", EDUCATORS, live_file),
    Page("/reports/{year:int}/freeze", "POST", EDUCATORS, freeze),
    Page("/reports/frozen/{report:int}", "GET", EDUCATORS, frozen),
    Page("/reports/frozen/{report:int}.{form}", "GET", EDUCATORS, frozen_file),
    Page("/dates-kept", "GET", ANYBODY, dates_kept),
)
