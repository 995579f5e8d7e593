"""The pile's picture, looked at through Matplotlib's own figure and, where pixels count, through Pillow."""

import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from io import BytesIO
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from bot import chart
from bot.chart import AREAS, LINES, PAPER, STAGES, compose, draw, stages_of
from bot.language.wording import Voice
from shared import hygiene
from shared.forecast import DateRange, Day, Forecast, Habit, Range
from shared.pile import Record, Stage

BUILT = date(2026, 3, 1)
ENGLISH_F = Voice("en", "f", BUILT)
HOT_THEN_COOL = [15, 30, 50, *[60] * 20, *[40] * 8, *[18] * 90]


def on(day: int) -> date:
    return BUILT + timedelta(days=day)


def reading(day: int, core_c: float, **more) -> Record:
    return Record("temperature", on(day), core_c=core_c, **more)


def outlook(
    cores_c: Sequence[float] = HOT_THEN_COOL,
    today: int = 20,
    stage: Stage = "hot",
    ready: tuple[int, int, int] = (70, 80, 95),
    *,
    first: int = 0,
    is_open: bool = False,
    air_c: float = 12.0,
) -> Forecast:
    """A forecast whose band runs 5 °C to either side of these daily cores, which begin on day `first`."""
    some = Range(0.1, 0.2, 0.3)
    return Forecast(
        pile_id="1",
        as_of=on(today),
        stage=stage,
        ready=DateRange(*(on(day) for day in ready), open=is_open),
        core_c=Range(cores_c[today - first] - 5, cores_c[today - first], cores_c[today - first] + 5),
        air_c=air_c,
        moisture=some,
        free_air=some,
        fast_left=some,
        moderate_left=some,
        trend_c_per_day=0.0,
        mix_c_n=30.0,
        mix_moisture=0.55,
        credit=hygiene.credit([], []),
        harvest_litres=some,
        bottom_litres=0.0,
        turn_gain_days=0.0,
        water_gain_days=0.0,
        water_litres=0.0,
        turn_due=None,
        water_due=None,
        days=tuple(Day(on(first + at), Range(c - 5, c, c + 5), air_c) for at, c in enumerate(cores_c)),
        habit=Habit(None, None),
        moved=(),
        assumed=(),
    )


def pictured(seen: Forecast, records: Sequence[Record] = (), voice: Voice = ENGLISH_F, **more) -> Figure:
    return compose(seen, records, seen.as_of, voice, **more)


def parts(figure: Figure, gid: str) -> list:
    """What is drawn under a name in the picture."""
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def line(figure: Figure, gid: str) -> list[tuple[float, float]]:
    """The points of a line: days from the left edge, and degrees."""
    [found] = parts(figure, gid)
    return list(zip(found.get_xdata(), found.get_ydata(), strict=True))


def spans(figure: Figure, gid: str) -> list[tuple[float, float]]:
    """The days at which spans begin and end."""
    return [(part.get_x(), part.get_x() + part.get_width()) for part in parts(figure, gid)]


def words(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def test_the_picture_is_a_portrait_png_of_720_by_900_pixels():
    """An independent reader finds a PNG of the promised size."""
    png = draw(outlook(), [], on(20), ENGLISH_F)

    picture = Image.open(BytesIO(png))

    assert (picture.format, picture.size) == ("PNG", (720, 900))


@pytest.mark.parametrize(("units", "degrees"), [("f", 131.0), ("c", 55.0)])
def test_a_reading_stands_at_its_degrees_in_the_units_of_the_person(units, degrees):
    """55 °C is 131 °F, as 40 CFR 503 Appendix B prints both."""
    figure = pictured(outlook(), [reading(6, 55.0)], Voice("en", units, BUILT))

    assert line(figure, "reading") == [(6.0, pytest.approx(degrees))]


def test_a_reading_of_a_known_hour_stands_at_that_hour():
    """A day's band stands at noon; 18 h is a quarter of a day later."""
    assert line(pictured(outlook(), [reading(6, 55.0, hour=18.0)]), "reading")[0][0] == 6.25


def test_a_reading_is_to_be_seen_where_the_scale_says():
    """The pixel at the reading's place is dark on the finished picture, and paper well above it."""
    seen, records = outlook(), [reading(10, 40.0)]
    figure = pictured(seen, records)
    [points] = parts(figure, "reading")
    x, y = points.axes.transData.transform(line(figure, "reading")[0])

    picture = Image.open(BytesIO(draw(seen, records, on(20), ENGLISH_F))).convert("L")

    assert picture.getpixel((round(x), 900 - round(y))) < 80
    assert picture.getpixel((round(x), 900 - round(y) - 12)) > 200


def test_the_margins_are_clean_paper():
    """Nothing but paper along the edges of the sheet."""
    pixels = np.asarray(Image.open(BytesIO(draw(outlook(), [], on(20), ENGLISH_F))).convert("RGB"))

    paper = np.round(np.array(to_rgb(PAPER)) * 255)

    assert (pixels[:, :10] == paper).all()
    assert (pixels[:, -10:] == paper).all()


def test_a_reading_near_the_surface_is_a_hollow_point_with_its_own_entry():
    """It is no core reading, and does not look like one."""
    figure = pictured(outlook(), [reading(6, 33.0, edge=True), reading(8, 58.0)])

    assert [at for at, _ in line(figure, "surface")] == [6.0]
    assert [at for at, _ in line(figure, "reading")] == [8.0]
    assert "near the surface" in words(figure)


def test_a_pile_without_readings_says_so():
    """The key has no entry for readings then, but a word that there are none."""
    shown = words(pictured(outlook()))

    assert "no readings yet" in shown
    assert "your readings" not in shown


def test_only_records_of_the_days_shown_up_to_today_are_drawn():
    """A reading before the band begins or after today is left out."""
    seen = outlook([20.0] * 241, today=200, stage="curing", ready=(230, 240, 260), first=80)

    figure = pictured(seen, [reading(79, 50.0), reading(80, 40.0), reading(200, 30.0), reading(201, 25.0)])

    assert [at for at, _ in line(figure, "reading")] == [0.0, 120.0]


def test_the_band_is_the_models_range_of_each_day():
    """Its upper and lower edges are the 90 and 10 % quantiles, in the person's units."""
    seen = outlook(HOT_THEN_COOL[:60])

    [band] = parts(pictured(seen, voice=Voice("en", "c", BUILT)), "band")
    corners = {(float(x), float(y)) for x, y in band.get_paths()[0].vertices}

    for day in seen.days:
        at = float((day.on - BUILT).days)
        assert {(at, day.core_c.p10), (at, day.core_c.p90)} <= corners


def test_the_likely_line_is_dashed_from_today_on():
    """What was and what is to come meet at today and differ in their dash, not in colour alone."""
    figure = pictured(outlook(today=20))

    assert line(figure, "likely")[-1] == line(figure, "ahead")[0]
    assert line(figure, "ahead")[0][0] == 20.0
    assert LINES["likely"].get("ls", "-") != LINES["ahead"]["ls"]


def test_each_kind_of_deed_has_a_row_of_its_own_and_one_mark_a_day():
    """Two waterings on a day are one mark; kinds that did not happen take no row."""
    records = [
        Record("turned", on(5)),
        Record("watered", on(9), litres=10.0),
        Record("watered", on(9), litres=5.0),
        Record("turned", on(12)),
    ]

    figure = pictured(outlook(), records)

    assert line(figure, "turned") == [(5.0, 0), (12.0, 0)]
    assert line(figure, "watered") == [(9.0, 1)]
    assert parts(figure, "added") == []


def test_the_line_of_too_hot_appears_once_a_reading_comes_near_it():
    """From 66 °C (150 °F), the watch line; it stands at 71 °C (160 °F). Common practice."""
    assert parts(pictured(outlook(), [reading(9, 65.0)]), "too_hot") == []

    figure = pictured(outlook(), [reading(9, 66.0)])

    assert line(figure, "too_hot")[0][1] == pytest.approx(160.0, abs=0.5)
    assert "too hot" in words(figure)


def test_stages_follow_the_band_from_warming_to_resting():
    """45 °C parts warming from hot, 43 °C hot from cooling, 8 °C above the air cooling from rest."""
    assert stages_of(outlook()) == [
        (on(0), on(1), "warming"),
        (on(2), on(22), "hot"),
        (on(23), on(30), "cooling"),
        (on(31), on(69), "curing"),
    ]


def test_a_dip_after_a_turning_does_not_part_the_hot_stage():
    """Three days below the line within a hot month leave one hot span."""
    cores = [15, 30, *[58] * 10, 38, 36, 41, *[58] * 20, *[18] * 60]

    assert [stage for _, _, stage in stages_of(outlook(cores))] == ["warming", "hot", "curing"]


def test_a_pile_turned_every_few_days_stays_hot_between():
    """Many dips, each with its fall and its rise, are one hot span, and today keeps the forecast's stage."""
    seen = stages_of(outlook([20, *[50, 50, 30, 32] * 30], today=99, stage="cooling", ready=(110, 115, 119)))

    assert [stage for _, _, stage in seen][:3] == ["warming", "hot", "cooling"]
    assert seen[2] == (on(99), on(99), "cooling")


def test_a_cold_spell_before_more_heat_is_a_stall():
    """A pile that warms again had food left, so its cold weeks were no rest."""
    cores = [15, 30, *[58] * 10, *[14] * 20, *[50] * 10, *[14] * 60]

    seen = stages_of(outlook(cores, today=36))

    assert [stage for _, _, stage in seen] == ["warming", "hot", "stalled", "hot", "curing"]


def test_the_strip_agrees_with_the_forecast_about_today():
    """Where the readings moved the stage away from the band's median, today still bears the forecast's."""
    seen = stages_of(outlook([40.0] * 100, today=20, stage="hot"))

    assert (on(20), on(20), "hot") in seen


def test_an_old_piles_first_days_shown_are_not_warming():
    """The first week counts from the build, which lies before what is shown."""
    seen = outlook([13.0] * 241, today=730, stage="curing", ready=(760, 780, 800), first=610)

    assert [stage for _, _, stage in stages_of(seen)] == ["curing"]


def test_the_ready_range_is_hatched_over_its_days():
    """From the 10 to the 90 % quantile of the forecast, in the strip of the stages."""
    figure = pictured(outlook(today=30, ready=(60, 70, 90)))

    assert spans(figure, "ready")[0] == (59.5, 90.5)
    assert AREAS["ready"]["hatch"]
    assert spans(figure, "stage.ready")[0][0] == 90.5


def test_a_ready_range_out_of_sight_is_pointed_to():
    """At the strip's right end, an arrow says that it comes later."""
    assert "ready →" in words(pictured(outlook(today=5, ready=(200, 250, 300))))


def test_a_sliver_of_the_ready_range_is_pointed_to_as_well():
    """Where only its first days fit, the arrow says more; a short range that ends in sight stays."""
    window = chart.window_of(outlook(), on(20))
    last = (window.last - BUILT).days
    cut_off = pictured(outlook(ready=(last - 1, last + 20, last + 40)))
    seen = pictured(outlook(ready=(last - 4, last - 2, last)))

    assert "ready →" in words(cut_off)
    assert "ready →" not in words(seen)


def test_marks_on_the_first_day_are_whole():
    """A mark at the edge of the days shown is not cut through its middle."""
    figure = pictured(outlook(first=5), [reading(5, 55.0), Record("turned", on(5))])

    for gid in ("reading", "turned"):
        assert [part.get_clip_on() for part in parts(figure, gid)] == [False]


def test_a_ready_pile_shows_since_when_and_no_range():
    """It is ready from the median day of the forecast; what it was before stays to be seen."""
    figure = pictured(outlook(today=90, stage="ready", ready=(60, 70, 100)))

    assert parts(figure, "ready") == []
    assert spans(figure, "stage.ready")[0][0] == 69.5
    assert words(figure)[0] == "Ready to use"


def test_the_ready_range_of_a_pile_not_ready_lies_after_today():
    """That part of the ensemble which thinks it ready long since is not shown as if it were so."""
    seen = outlook(today=60, stage="curing", ready=(40, 70, 90))

    assert spans(pictured(seen), "ready")[0] == (60.5, 90.5)


@pytest.mark.parametrize(
    ("voice", "now", "ready"),
    [
        (Voice("en", "f", on(20)), "Hot, about 140 °F", "Ready: mid May to early June"),
        (
            Voice("es", "c", on(20)),
            "Caliente, unos 60 °C",
            "Lista: de mediados de mayo a principios de junio",
        ),
    ],
)
def test_the_headline_says_where_it_stands_and_when_it_is_ready(voice, now, ready):
    """In the person's language and units, with a range no finer than a third of a month."""
    assert words(pictured(outlook(ready=(75, 80, 95)), voice=voice))[:2] == [now, ready]


def test_a_pile_that_is_added_to_is_ready_only_if_adding_stops():
    """Its range holds on that condition, and the picture says so."""
    shown = words(pictured(outlook(), fed=True))

    assert "If you stop adding now" in " ".join(shown[1:3])


def test_every_stage_seen_in_the_strip_has_its_name():
    """On the strip, or where it is too narrow, in the key."""
    figure = pictured(outlook([15, 30, *[58] * 10, *[30] * 6, *[14] * 80], today=60, stage="curing"))
    seen = {stage for stage in STAGES if spans(figure, f"stage.{stage}")}

    assert {"warming", "hot", "cooling", "curing"} <= seen
    assert {chart_word(stage) for stage in seen} <= set(words(figure))


def chart_word(stage: Stage) -> str:
    return {"curing": "resting"}.get(stage, stage)


EVERYTHING = [
    *(reading(day, 20.0 + 2.0 * day) for day in range(25)),
    reading(21, 30.0, edge=True),
    *(Record("turned", on(day)) for day in range(3, 200, 7)),
    *(Record("watered", on(day)) for day in range(200)),
    *(Record("added", on(day), material="kitchen_scraps") for day in range(0, 200, 3)),
]
MANY = {
    "first day": (outlook(today=0, stage="warming"), [], False),
    "hot": (outlook(today=12), EVERYTHING, False),
    "cool": (
        outlook([14.0] * 150, today=29, stage="stalled", ready=(400, 700, 1096), is_open=True),
        [],
        False,
    ),
    "turned often": (outlook([20, *[50, 50, 30, 30] * 40], today=100, stage="cooling"), EVERYTHING, False),
    "done": (outlook([20.0] * 200, today=110, stage="ready", ready=(60, 80, 110)), EVERYTHING, False),
    "fed, next year": (outlook(today=30, stage="cooling", ready=(320, 340, 500)), EVERYTHING, True),
    "two years old": (
        outlook([13.0] * 241, today=730, stage="stalled", ready=(700, 900, 1096), first=610, is_open=True),
        [reading(700, 31.0)],
        True,
    ),
    "frozen": (outlook([-28.0] * 120, today=15, stage="stalled", air_c=-30.0), [reading(9, 90.0)], False),
}


@pytest.mark.parametrize("voice", [Voice("en", "f", BUILT), Voice("es", "c", BUILT)], ids=["en", "es"])
@pytest.mark.parametrize("name", MANY)
def test_no_words_overlap_leave_the_sheet_or_are_small(name, voice):
    """On a phone 360 points wide no letter is under 10 points, and nothing covers anything else."""
    seen, records, fed = MANY[name]
    figure = pictured(seen, records, Voice(voice.language, voice.units, seen.as_of), fed=fed)
    boxes = {text: text.get_window_extent() for text in figure.findobj(Text) if text.get_text()}

    for text, box in boxes.items():
        assert box.x0 >= 0, text
        assert box.x1 <= 720, text
        assert box.y0 >= 0, text
        assert box.y1 <= 900, text
        assert text.get_fontsize() * 100 / 72 >= 20, text
    for (one, box), (other, second) in combinations(boxes.items(), 2):
        assert not box.padded(-1).overlaps(second.padded(-1)), (one, other)


@pytest.mark.parametrize("name", MANY)
def test_the_curve_keeps_the_greater_part_of_the_height(name):
    """However long the key, at least a third of the sheet is the curve's."""
    seen, records, fed = MANY[name]

    [band] = parts(pictured(seen, records, fed=fed), "band")

    assert band.axes.get_position().height > 1 / 3


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition)."""
    return float(np.dot((0.2126, 0.7152, 0.0722), linear(colour)))


def linear(colour: str) -> np.ndarray:
    channels = np.array(to_rgb(colour))
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definition): 21 for black on white, 4.54 for #767676 on white."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


SIGHT = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
"""Machado, Oliveira and Fernandes 2009 (doi 10.1109/TVCG.2009.113), severity 1.0, on linear RGB."""


def lab(colour: str, sight: str) -> np.ndarray:
    """CIE L*a*b* (D65) of a colour as it is seen."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    seen = np.clip(SIGHT[sight] @ linear(colour), 0.0, 1.0)
    xyz = to_xyz @ seen / np.array([0.95047, 1.0, 1.08883])
    x, y, z = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_measure_of_contrast_agrees_with_its_printed_values():
    """WCAG: 21:1 for black on white; #767676 is the lightest grey that reaches 4.5:1 on white."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


def test_words_stand_out_from_their_ground():
    """At least 4.5:1 (WCAG 2.2, 1.4.3)."""
    assert contrast(chart.INK, PAPER) >= 4.5
    assert contrast(chart.INK, AREAS["ready"]["fc"]) >= 4.5
    for ground, ink in STAGES.values():
        assert contrast(ink, ground) >= 4.5


def test_lines_and_marks_stand_out_from_paper_and_band():
    """At least 3:1 (WCAG 2.2, 1.4.11), on the paper and over the model's band."""
    colours = {look[name] for look in LINES.values() for name in ("color", "mfc") if name in look} - {PAPER}

    for colour in colours:
        assert contrast(colour, PAPER) >= 3.0
        assert contrast(colour, AREAS["band"]["fc"]) >= 3.0


@pytest.mark.parametrize("sight", SIGHT)
def test_neighbouring_stages_differ_in_every_kind_of_colour_sight(sight):
    """CIE76 distance of at least 10 (2.3 is just noticeable) between stages that follow on each other."""
    follow = [
        *pairwise(("warming", "hot", "cooling", "curing", "ready")),
        *(("stalled", other) for other in STAGES if other != "stalled"),
        ("warming", "cooling"),
        ("cooling", "ready"),
    ]

    for one, other in follow:
        distance = np.linalg.norm(lab(STAGES[one][0], sight) - lab(STAGES[other][0], sight))
        assert distance >= 10.0, (one, other, distance)


def test_no_two_things_differ_by_colour_alone():
    """Every line and mark has a dash or a shape, full or hollow, of its own."""
    looks = [
        (look.get("marker"), look.get("ls", "-"), look.get("mfc") == PAPER, look.get("zorder", 0) == 4)
        for look in LINES.values()
    ]

    assert len(set(looks)) == len(looks)


def test_pictures_drawn_at_the_same_time_come_out_as_drawn_alone():
    """Messages are worded on several threads; each picture is the same, byte for byte."""
    cases = [(seen, records, seen.as_of, ENGLISH_F) for seen, records, _ in list(MANY.values())[:4]]

    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda case: draw(*case), cases))

    assert together == [draw(*case) for case in cases]


def test_the_drawing_library_is_not_loaded_before_the_first_picture():
    """A bot that never draws does not pay for it."""
    look = "import sys, bot.chart; sys.exit('matplotlib' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", look], check=False).returncode == 0
