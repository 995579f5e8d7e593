"""The pile's picture: readings, what the model makes of them, and when it will be ready. Values in, PNG out.

Made for a small phone: portrait, few large words, nothing said by colour alone. Stages are words in a strip
above the curve, deeds are shapes in rows below it, and the ready range is hatched.
"""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from operator import itemgetter
from textwrap import wrap
from threading import Lock
from typing import TYPE_CHECKING, Any, Final

from babel.dates import format_skeleton

from bot.language.wording import Voice
from shared.cautions import COOL_DOWN_C, WATCH_C
from shared.forecast import BACK_DAYS, Day, Forecast
from shared.pile import Record, Stage
from shared.units import f_from_c
from storage.outbox import Line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_PX, HEIGHT_PX, DPI = 720, 900, 100
EDGE_PX, LEFT_PX, RIGHT_PX = 30, 78, 692
STRIP_PX, ROW_PX, DAYS_PX, KEY_ROW_PX = 40, 34, 60, 36
"""Heights from the top down: stages, a row of deeds, the days' names, a row of the key."""
LINE_LETTERS = 50

PAPER: Final = "#FBF8F1"
INK: Final = "#2A2622"
QUIET: Final = "#6B645B"
RULE: Final = "#DDD6C8"
HEAT: Final = "#A83E0B"
BAND: Final = "#F0C49C"
WATER: Final = "#1F5F99"
GROWTH: Final = "#14665A"
STAGES: Final[Mapping[Stage, tuple[str, str]]] = {
    "warming": ("#F3D3A8", INK),
    "hot": (HEAT, PAPER),
    "cooling": ("#E39A58", INK),
    "stalled": ("#B9C3D0", INK),
    "curing": ("#EBE3D2", INK),
    "ready": (GROWTH, PAPER),
}
"""Each stage's colour in the strip, and that of the word on it."""
DEEDS: Final = ("turned", "watered", "added")
LINES: Final[Mapping[str, dict[str, Any]]] = {
    "reading": {"ls": "", "marker": "o", "ms": 8, "mfc": INK, "mec": PAPER, "mew": 1.2, "zorder": 4},
    "surface": {"ls": "", "marker": "o", "ms": 7, "mfc": PAPER, "mec": INK, "mew": 1.8, "zorder": 4},
    "likely": {"color": HEAT, "lw": 2.2},
    "ahead": {"color": HEAT, "lw": 2.2, "ls": (0, (2.5, 1.5))},
    "air": {"color": QUIET, "lw": 2.2, "ls": (0, (1, 1.2))},
    "too_hot": {"color": INK, "lw": 1.5, "ls": (0, (7, 3))},
    "turned": {"ls": "", "marker": "^", "ms": 10, "color": HEAT, "mew": 0},
    "watered": {"ls": "", "marker": "d", "ms": 11, "color": WATER, "mew": 0},
    "added": {"ls": "", "marker": "P", "ms": 10, "color": GROWTH, "mew": 0},
}
AREAS: Final[Mapping[str, dict[str, Any]]] = {
    "band": {"fc": BAND, "ec": "none", "lw": 0},
    "ready": {"fc": "#E3EEE6", "ec": GROWTH, "hatch": "//", "hatch_linewidth": 1.6, "lw": 0},
    "ready_below": {"fc": "#EFF3EA", "ec": "#C3D8CC", "hatch": "/", "hatch_linewidth": 1.2, "lw": 0},
    **{f"stage.{stage}": {"fc": fill, "lw": 0} for stage, (fill, _) in STAGES.items()},
}
"""How each thing looks, in the picture and in its key: told apart by shape, dash or hatch before colour."""

SCALE_C = (0.0, 75.0)
"""The same for every pile, so that a cool one looks cool; wider only where it must be."""
ROOM_AHEAD, SOON_DAYS, LEAST_AHEAD_DAYS, MOST_AHEAD_DAYS = 3, 14, 42, 100
"""Of what is to come at most this many times the past, within these bounds."""
DIP_DAYS = 7
LATER_PX, SLIVER_PX = 108, 10
"""Width of the sign that the ready range lies further to the right, and of what is too narrow to be seen."""

_ONE_AT_A_TIME = Lock()  # Matplotlib is not made for several threads


@dataclass(frozen=True, slots=True)
class Window:
    """The days that a picture shows, both included."""

    first: date
    last: date

    def x(self, on: date) -> float:
        """Where a day stands: days from the first."""
        return float((on - self.first).days)

    def holds(self, on: date) -> bool:
        return self.first <= on <= self.last

    def clip(self, first: date, last: date) -> tuple[float, float] | None:
        """The part of a span of whole days that is shown, None where nothing of it is."""
        left, right = max(first, self.first), min(last, self.last)
        return (self.x(left) - 0.5, self.x(right) + 0.5) if left <= right else None

    def px(self, days: float) -> float:
        """How wide so many days are drawn."""
        return days * (RIGHT_PX - LEFT_PX) / (self.x(self.last) + 1.0)

    def days(self, px: float) -> float:
        """How many days are drawn over so many pixels."""
        return px / self.px(1.0)

    def x_px(self, on: date) -> float:
        """Where the middle of a day stands on the sheet."""
        return LEFT_PX + self.px(self.x(on) + 0.5)


@dataclass(frozen=True, slots=True)
class Scene:
    """What is drawn, for whom; `shown` are the records within the window."""

    outlook: Forecast
    shown: tuple[Record, ...]
    window: Window
    today: date
    voice: Voice
    fed: bool

    @property
    def deeds(self) -> list[str]:
        return [kind for kind in DEEDS if any(record.kind == kind for record in self.shown)]

    @property
    def ready(self) -> tuple[float, float] | None:
        """The part of the ready range that is shown; None where it is a sliver, or the pile is ready."""
        if self.outlook.stage == "ready":
            return None
        shown = self.window.clip(ready_from(self.outlook), self.outlook.ready.p90)
        goes_on = self.outlook.ready.p90 > self.window.last
        sliver = shown and goes_on and self.window.px(shown[1] - shown[0]) < LATER_PX / 2
        return None if sliver else shown

    def readings(self, edge: bool) -> list[tuple[float, float]]:
        """Where the readings stand (day, °C): those of the core, or those near the surface."""
        return [
            (self.window.x(r.on) + ((12.0 if r.hour is None else r.hour) - 12.0) / 24.0, r.core_c)
            for r in self.shown
            if r.kind == "temperature" and r.core_c is not None and r.edge == edge
        ]

    @property
    def too_hot(self) -> bool:
        """Whether a reading has come near the line of too hot."""
        return any(core_c >= WATCH_C for edge in (False, True) for _, core_c in self.readings(edge))

    @property
    def seen(self) -> list[str]:
        """What the key explains: only what is to be seen."""
        first = "reading" if self.readings(False) else "no_reading"
        maybe = {"surface": self.readings(True), "ready": self.ready, "too_hot": self.too_hot}
        names = ("band", "surface", "air", *self.deeds, "ready", "too_hot")
        return [first, *(name for name in names if maybe.get(name, True))]

    def word(self, key: str, **values: Any) -> str:
        return self.voice.line(Line(f"chart.{key}", values))

    def degrees(self, core_c: float) -> float:
        return f_from_c(core_c) if self.voice.units == "f" else core_c


def draw(
    outlook: Forecast, records: Sequence[Record], today: date, voice: Voice, *, fed: bool = False
) -> bytes:
    """The picture of one pile as a PNG of 720 by 900 pixels, in the person's language and units.

    records   those that hold; readings, turnings, waterings and additions up to `today` are drawn
    fed       the pile is added to as it goes: its ready range holds if adding stops
    """
    file = io.BytesIO()
    with _ONE_AT_A_TIME:
        compose(outlook, records, today, voice, fed=fed).savefig(file, format="png", dpi=DPI)
    return file.getvalue()


def compose(
    outlook: Forecast, records: Sequence[Record], today: date, voice: Voice, *, fed: bool = False
) -> "Figure":
    """The picture before it is made into pixels; what is drawn carries its meaning as `gid`."""
    from matplotlib.figure import Figure  # half a second to import, and only pictures need it

    window = window_of(outlook, today)
    shown = tuple(record for record in records if window.holds(record.on) and record.on <= today)
    scene = Scene(outlook, shown, window, today, voice, fed)
    figure = Figure(figsize=(WIDTH_PX / DPI, HEIGHT_PX / DPI), dpi=DPI, facecolor=PAPER)
    sheet = figure.add_axes((0, 0, 1, 1), xlim=(0, WIDTH_PX), ylim=(HEIGHT_PX, 0))
    sheet.set_axis_off()
    strip_top = _headline(sheet, scene)
    unnamed = _strip(_axes(figure, strip_top, strip_top + STRIP_PX, scene), scene)
    key = [*scene.seen, *(f"stage.{stage}" for stage in unnamed)]
    key_top = HEIGHT_PX - 16 - KEY_ROW_PX * ((len(key) + 1) // 2)
    days_top = key_top - DAYS_PX
    rows_top = days_top - ROW_PX * len(scene.deeds)
    _curve(_axes(figure, strip_top + STRIP_PX, rows_top, scene), scene)
    if scene.deeds:
        _rows(_axes(figure, rows_top, days_top, scene), scene)
    _days(sheet, days_top + 26, scene)
    _key(sheet, key_top, key, scene)
    return figure


def window_of(outlook: Forecast, today: date) -> Window:
    """From the first day of the band to past the ready range, but not so far that the past is crowded."""
    first = outlook.days[0].on
    to_ready = (outlook.ready.p90 - today).days + 7
    furthest = min(max(ROOM_AHEAD * (today - first).days, LEAST_AHEAD_DAYS), MOST_AHEAD_DAYS)
    return Window(first, today + timedelta(days=max(min(to_ready, furthest), SOON_DAYS)))


def ready_from(outlook: Forecast) -> date:
    """Where the ready range begins, or since when the pile is ready; one not ready today is not before it."""
    if outlook.stage == "ready":
        return min(outlook.ready.p50, outlook.as_of)
    return max(outlook.ready.p10, outlook.as_of + timedelta(days=1))


def stages_of(outlook: Forecast) -> list[tuple[date, date, Stage]]:
    """The stages of the band's days as spans (first day, last day, stage), until it is or may be ready.

    They follow the band's median by the lines that part the stages, and agree with the forecast on its own
    day. A stage that comes back within a week, as after a turning, was not left, unless for a hot spell.
    """
    days = [day for day in outlook.days if day.on < ready_from(outlook)]
    stages: list[Stage] = []
    for at, day in enumerate(days):
        own = day.on == outlook.as_of
        stages.append(outlook.stage if own else _stage(outlook, day, days[at + 1 :], stages))
    spans: list[tuple[date, date, Stage]] = []
    for stage, run in groupby(zip(days, stages, strict=True), key=itemgetter(1)):
        on = [day.on for day, _ in run]
        first, last = on[0], on[-1]
        for at, (since, until, same) in enumerate(spans):
            spell = any(between == "hot" for *_, between in spans[at + 1 :])
            holds_today = until < outlook.as_of < first
            if same == stage and (first - until).days <= DIP_DAYS and not spell and not holds_today:
                first, spans[at:] = since, []
                break
        spans.append((first, last, stage))
    return spans


def _stage(outlook: Forecast, day: Day, later: Sequence[Day], before: Sequence[Stage]) -> Stage:
    """One day's stage; near the air, a pile that warms again later had food left and was stalled."""
    core_c = day.core_c.p50
    if core_c >= 45.0 or (core_c >= 43.0 and before[-1:] == ["hot"]):
        return "hot"
    since_build = (outlook.as_of - outlook.days[0].on).days < BACK_DAYS
    if since_build and len(before) < 7 and "hot" not in before:
        return "warming"
    if core_c - day.air_c > 8.0:
        return "warming" if later and later[0].core_c.p50 > core_c + 0.75 else "cooling"
    warms_again = any(after.core_c.p50 - after.air_c > 8.0 for after in later)
    return "stalled" if warms_again or outlook.stage == "stalled" else "curing"


def _headline(sheet: "Axes", scene: Scene) -> float:
    """Where the pile is now, and when it will be ready; how far down it reaches [px]."""
    stage, core_c = scene.outlook.stage, scene.outlook.core_c.p50
    degrees = f"{scene.degrees(core_c):.0f} °{scene.voice.units.upper()}"
    now = {} if stage == "ready" else {"degrees": degrees}
    _write(sheet, EDGE_PX, 52, scene.word(f"now.{stage}", **now), 36, weight="bold")
    words = _ready_words(scene)
    rows = [words] if len(words) <= LINE_LETTERS else wrap(words, min(LINE_LETTERS, len(words) // 2 + 8))
    for row, part in enumerate(rows):
        _write(sheet, EDGE_PX, 100 + 34 * row, part, 24)
    return 102 + 34.0 * len(rows)


def _ready_words(scene: Scene) -> str:
    if scene.outlook.stage == "ready":
        return scene.word("ready.done")
    ready = scene.outlook.ready
    ends = {"from_about": ready_from(scene.outlook).isoformat(), "to_about": ready.p90.isoformat()}
    low, high = (scene.voice.value(name, day) for name, day in ends.items())
    kind = "open" if ready.open else "month" if low == high else "range"
    return scene.word(f"ready.fed_{kind}" if scene.fed else f"ready.{kind}", **ends)


def _strip(axes: "Axes", scene: Scene) -> list[Stage]:
    """The stages as spans with their names, and the ready range; which stages have no room for their name."""
    outlook, window, end = scene.outlook, scene.window, axes.get_xlim()[1]
    since = ready_from(outlook) if outlook.stage == "ready" else outlook.ready.p90 + timedelta(days=1)
    ready, word = scene.ready, scene.word("stage.ready")
    if ready is None and outlook.stage != "ready":  # further to the right
        ready, word = (end - window.days(LATER_PX), end), f"{word} →"
        end = ready[0]
    named: dict[Stage, bool] = {}
    for first, last, stage in [*stages_of(outlook), (since, date.max, "ready")]:
        left, right = window.clip(first, last) or (end, end)
        span, (fill, ink) = (left, min(right, end)), STAGES[stage]
        if window.px(span[1] - span[0]) >= SLIVER_PX:
            axes.axvspan(*span, fc=fill, ec=PAPER, lw=1.5, gid=f"stage.{stage}")
            has_room = _name(axes, scene, span, scene.word(f"stage.{stage}"), ink, fill)
            named[stage] = has_room or named.get(stage, False)
    if ready:
        axes.axvspan(*ready, gid="ready", **AREAS["ready"])
        _name(axes, scene, ready, word, INK, AREAS["ready"]["fc"])
        named["ready"] = True
    return [stage for stage in STAGES if not named.get(stage, True)]


def _name(axes: "Axes", scene: Scene, span: tuple[float, float], word: str, ink: str, ground: str) -> bool:
    """The word in the middle of its span, if there is room for it; whether there was."""
    room_px = scene.window.px(span[1] - span[0])
    for size_px in (22, 20):
        text = axes.text(sum(span) / 2, 0.46, word, size=_pt(size_px), color=ink, ha="center", va="center")
        text.set(bbox={"fc": ground, "ec": "none", "pad": 2}, zorder=5)
        if text.get_window_extent().width <= room_px - 8:
            return True
        text.remove()
    return False


def _curve(axes: "Axes", scene: Scene) -> None:
    """Readings as points over the model's band; what is still to come is dashed."""
    days = [day for day in scene.outlook.days if scene.window.holds(day.on)]
    x = [scene.window.x(day.on) for day in days]
    low, likely, high, air = (
        [scene.degrees(core_c) for core_c in series]
        for series in zip(*((d.core_c.p10, d.core_c.p50, d.core_c.p90, d.air_c) for d in days), strict=True)
    )
    now = sum(day.on < scene.today for day in days)
    axes.fill_between(x, low, high, gid="band", **AREAS["band"])
    axes.plot(x, air, gid="air", **LINES["air"])
    axes.plot(x[: now + 1], likely[: now + 1], gid="likely", **LINES["likely"])
    axes.plot(x[now:], likely[now:], gid="ahead", **LINES["ahead"])
    for gid, edge in (("reading", False), ("surface", True)):
        read = scene.readings(edge)
        degrees = [scene.degrees(core_c) for _, core_c in read]
        axes.plot([at for at, _ in read], degrees, gid=gid, clip_on=False, **LINES[gid])
    _scale(axes, scene, days)


def _scale(axes: "Axes", scene: Scene, days: Sequence[Day]) -> None:
    """Degrees in the person's units, and the line of too hot where the pile has come near it."""
    read = [core_c for edge in (False, True) for _, core_c in scene.readings(edge)]
    hottest = max([*read, *(day.core_c.p90 for day in days)])
    coldest = min([*read, *(day.core_c.p10 for day in days), *(day.air_c for day in days)])
    bottom, top = scene.degrees(min(SCALE_C[0], coldest - 3)), scene.degrees(max(SCALE_C[1], hottest + 4))
    step = 20 if scene.voice.units == "f" else 10
    ticks = [degrees for degrees in range(-200, 400, step) if bottom <= degrees < top]
    axes.set_ylim(bottom, top)
    for degrees in ticks:
        axes.axhline(degrees, color=RULE, lw=1, zorder=0.4)
        unit = scene.voice.units.upper() if degrees == ticks[-1] else ""
        axes.annotate(
            f"{degrees}°{unit}",
            (0, degrees),
            (-8, 0),
            xycoords=("axes fraction", "data"),
            textcoords="offset pixels",
            size=_pt(20),
            color=INK,
            ha="right",
            va="center",
        )
    if scene.too_hot:
        axes.axhline(scene.degrees(COOL_DOWN_C), gid="too_hot", **LINES["too_hot"])


def _rows(axes: "Axes", scene: Scene) -> None:
    """A row for each kind of deed, a shape on each day on which it was done."""
    axes.set_ylim(len(scene.deeds) - 0.5, -0.5)
    for row, kind in enumerate(scene.deeds):
        days = sorted({scene.window.x(record.on) for record in scene.shown if record.kind == kind})
        axes.plot(days, [row] * len(days), gid=kind, clip_on=False, **LINES[kind])


def _days(sheet: "Axes", y_px: float, scene: Scene) -> None:
    """Today, and the names of days or months where they do not run into it."""
    window, voice = scene.window, scene.voice
    today = window.x_px(scene.today)
    _write(sheet, today, y_px, voice.line(Line("day.today", {})), 22, weight="bold", ha="center")
    shown = (window.last - window.first).days
    starts = (1, 8, 15, 22) if shown <= 40 else (1, 15) if shown <= 80 else (1,)
    skeleton = "MMM" if len(starts) == 1 else "MMMd"
    for on in (window.first + timedelta(days=at) for at in range(shown + 1)):
        x_px = window.x_px(on)
        if on.day in starts and abs(x_px - today) > 74 and x_px < WIDTH_PX - 40:
            sheet.plot((x_px, x_px), (y_px - 24, y_px - 17), color=QUIET, lw=1.5)
            _write(sheet, x_px, y_px, format_skeleton(skeleton, on, locale=voice.locale), 20, ha="center")


def _key(sheet: "Axes", top_px: float, key: Sequence[str], scene: Scene) -> None:
    """What each shape and line means, in two columns at the foot."""
    from matplotlib.patches import Rectangle

    for at, name in enumerate(key):
        left, middle = (EDGE_PX, WIDTH_PX / 2 + 4)[at % 2], top_px + KEY_ROW_PX * (at // 2 + 0.5)
        if name in AREAS:
            sheet.add_patch(Rectangle((left, middle - 11), 44, 22, **AREAS[name]))
        if name in LINES or name == "band":
            look = LINES["likely" if name == "band" else name]
            x = (left + 22,) if look.get("ls") == "" else (left, left + 44)
            sheet.plot(x, [middle] * len(x), **look)
        _write(sheet, left + (0 if name == "no_reading" else 58), middle, scene.word(name), 21)


def _axes(figure: "Figure", top_px: float, bottom_px: float, scene: Scene) -> "Axes":
    """A part of the sheet over the days of the window, with today and the ready range marked through it."""
    place = (
        LEFT_PX / WIDTH_PX,
        1 - bottom_px / HEIGHT_PX,
        (RIGHT_PX - LEFT_PX) / WIDTH_PX,
        (bottom_px - top_px) / HEIGHT_PX,
    )
    axes = figure.add_axes(
        place, xlim=(-0.5, scene.window.x(scene.window.last) + 0.5), ylim=(0, 1), facecolor="none"
    )
    axes.set_axis_off()
    axes.axvline(scene.window.x(scene.today), color=INK, lw=1.6, gid="today", zorder=3)
    if scene.ready:
        axes.axvspan(*scene.ready, zorder=0.3, **AREAS["ready_below"])
    return axes


def _write(sheet: "Axes", x_px: float, y_px: float, words: str, size_px: float, **look: Any) -> None:
    """Words on the sheet, centred on a height."""
    sheet.text(x_px, y_px, words, size=_pt(size_px), **{"color": INK, "va": "center", **look})


def _pt(size_px: float) -> float:
    """A height of type in points, as Matplotlib counts it."""
    return size_px * 72.0 / DPI
