"""Draw the model against what was measured in piles of home size.

    python tests/benchmarks/draw_curves.py [FILE]

writes one picture, `tests/benchmarks/curves.png` where no file is named. What it shows is tested in
`tests/shared/test_measured.py` and `test_life.py`. Colours are told apart with every kind of colour vision.
"""

import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.shared.measured import BANDS, CURVES, SHREDDED
from tests.shared.one_pile import Course, go, year

BLUE, ORANGE, GREEN, INK, GREY, PALE = "#0072B2", "#D55E00", "#009E73", "#222222", "#8a8a8a", "#e4e2dc"
STYLE = {
    "font.size": 8.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": GREY,
    "axes.titlelocation": "left",
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "xtick.color": GREY,
    "ytick.color": GREY,
    "text.color": INK,
}


def line(axes: Axes, course: Course, colour: str, label: str = "") -> None:
    """The core's daily means, each in the middle of its day."""
    axes.plot(np.arange(len(course.core_c)) + 0.5, course.core_c, color=colour, lw=1.8, label=label)


def measured(axes: Axes, day: float, core_c: float, *, up: float = 0.0, down: float = 0.0) -> None:
    """A reading, or where only a peak was told, the spell in which it came."""
    axes.errorbar(day, core_c, xerr=[[down], [up]], fmt="o", mfc="white", mec=INK, ecolor=INK, ms=6, zorder=5)


def dress(axes: Axes, title: str, days: int, top: float = 80.0) -> None:
    """Title and axes of a panel of temperatures."""
    axes.set(title=title, xlim=(0, days), ylim=(0, top))
    axes.yaxis.set_major_formatter("{x:.0f} °C")
    axes.xaxis.set_major_formatter("{x:.0f} d")
    axes.xaxis.set_major_locator(MaxNLocator(6, integer=True))
    axes.grid(axis="y", color=PALE, lw=0.8)
    axes.set_axisbelow(True)


def heating(axes: Axes) -> None:
    """Batches that were logged while they heated."""
    for colour, curve in zip((BLUE, ORANGE), CURVES[:2], strict=True):
        line(axes, curve.modelled(16), colour, curve.name)
        for day, core_c in curve.readings:
            measured(axes, day, core_c)
    dress(axes, "Heating up", 16)
    axes.legend(frameon=False, loc="lower right")


def heaps(axes: Axes) -> None:
    """One woody mix in a cold November: only the large heap heats, and it comes back after a turn."""
    axes.axhspan(7, 12, color=PALE, zorder=0)
    line(axes, CURVES[2].modelled(42), BLUE)
    axes.text(6, 73, "30 m³, turned on days 14 and 28", color=BLUE)
    for volume_m3, colour, height in ((0.75, GREEN, 19.5), (0.3, ORANGE, 2.5)):
        small = go(42, volume_m3=volume_m3, kg_m3=300, air_c=7, turn_every=30, **SHREDDED)
        line(axes, small, colour)
        axes.text(6, height, f"{volume_m3:g} m³", color=colour)
    axes.text(41.5, 19.5, "grey: small ones stayed\nwithin a few °C of the air", ha="right", color=GREY)
    measured(axes, 10, 70, down=3, up=3)
    measured(axes, 15.5, 49)
    measured(axes, 18, 61, up=3)
    dress(axes, "The same woody mix, small and large", 42)


def size(axes: Axes) -> None:
    """Cubes of one mix: a 2 ft one is hot for hours, a 5 ft one for weeks."""
    for feet, colour in ((5, INK), (4, BLUE), (3, GREEN), (2, ORANGE)):
        line(axes, go(42, volume_m3=(feet * 0.3048) ** 3), colour, f"{feet} ft cube")
    axes.axhline(55, color=GREY, lw=0.8, ls=":")
    dress(axes, "Size decides over heat", 42)
    axes.legend(frameon=False)


def dryness(axes: Axes) -> None:
    """A dry pile stays cold until it is watered."""
    line(axes, go(40, kg_m3=222, moisture=0.28, water={20: 120}), BLUE)
    axes.axhspan(20, 35, xmax=0.5, color=PALE, zorder=0)
    axes.text(0.6, 37, "at most\n15 °C over the air", color=GREY)
    axes.annotate("soaked", (20, 24), (20, 6), ha="center", arrowprops={"arrowstyle": "-", "color": GREY})
    measured(axes, 24, 60, down=2, up=3)
    dress(axes, "A dry pile, watered on day 20", 40)


def winter(axes: Axes) -> None:
    """A small pile built in December waits for the spring."""
    air_c = year(220, start=335, mean_c=8, swing_k=12)
    line(axes, go(220, air_c=air_c, kg_m3=300, volume_m3=0.5), BLUE, "core")
    axes.plot(air_c, color=GREY, lw=1.2, label="air")
    dress(axes, "Built in December, ½ m³", 220)
    axes.set_ylim(-10, 60)
    axes.legend(frameon=False, loc="upper left")


def turning(axes: Axes) -> None:
    """Dry matter left, turned or not, with the times in which such piles are done (common practice)."""
    days = 700
    recipe = {"kg_m3": 250, "pools": (0.22, 0.39, 0.39), "nitrogen_slowing": 0.9}
    recipe |= {"air_c": year(days, start=74), "rain_mm": 3.0, "et0_mm": 3.0}
    axes.axvspan(70, 84, color=PALE, zorder=0)
    axes.text(92, 0.97, "weekly: 10-12 weeks", color=GREY)
    axes.axvspan(183, 365, ymax=0.86, color=PALE, zorder=0)
    axes.text(190, 0.91, "never: half a year to a year, or more", color=GREY)
    for every, colour, name in ((7, ORANGE, "weekly"), (30, GREEN, "monthly"), (None, BLUE, "never turned")):
        course = go(days, turn_every=every, **recipe)
        axes.plot(course.dry_left, color=colour, lw=1.8, label=name)
        if not np.isnan(course.ready_day):
            axes.plot(course.ready_day, course.dry_left[int(course.ready_day)], "D", color=colour, ms=6)
    axes.plot([], [], "D", color=GREY, ms=6, label="ready")
    axes.set(title="Dry matter left, built in mid-March", xlim=(0, 560), ylim=(0.3, 1.0))
    axes.yaxis.set_major_formatter(lambda share, _: f"{100 * share:.0f} %")
    axes.xaxis.set_major_formatter("{x:.0f} d")
    axes.grid(axis="y", color=PALE, lw=0.8)
    axes.legend(frameon=False, loc="upper right", bbox_to_anchor=(1, 0.86))


def peaks(axes: Axes) -> None:
    """Peaks: of single measured piles (circles), and bands of many, each with the model beside it."""
    rows = [(one.name, (one.peak_c, one.peak_c), [one.modelled()]) for one in CURVES]
    rows += [(band.name, band.peak_c, band.modelled()) for band in BANDS]
    for row, (_, (low, high), courses) in enumerate(rows):
        if low < high:
            axes.plot((low, high), (row, row), color="#b9b4a8", lw=9, solid_capstyle="butt", zorder=1)
        else:
            axes.plot(low, row, "o", mfc="white", mec=INK, ms=8.5)
        axes.plot([course.core_c.max() for course in courses], [row] * len(courses), "d", color=BLUE, ms=4.5)
    axes.set_yticks(range(len(rows)), [name for name, _, _ in rows], color=INK)
    axes.set(title="Highest temperature of the core", xlim=(0, 80), ylim=(len(rows) + 1.6, -0.5))
    axes.xaxis.set_major_formatter("{x:.0f} °C")
    axes.grid(axis="x", color=PALE, lw=0.8)
    axes.set_axisbelow(True)
    axes.plot([], [], "o", mfc="white", mec=INK, ms=8.5, label="measured")
    axes.plot([], [], color="#b9b4a8", lw=9, label="band of home piles")
    axes.plot([], [], "d", color=BLUE, ms=4.5, label="model, each air temperature")
    axes.legend(frameon=False, loc="lower left")


def main() -> None:
    """Draw all panels into one picture."""
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("curves.png")
    with plt.rc_context(STYLE):
        figure = plt.figure(figsize=(15, 7.4), layout="constrained")
        grid = figure.add_gridspec(2, 4, width_ratios=(1, 1, 1, 0.8))
        places = [grid[0, 0], grid[0, 1], grid[0, 2], grid[1, 0], grid[1, 1], grid[1, 2], grid[:, 3]]
        panels = (heating, heaps, size, dryness, winter, turning, peaks)
        for place, panel in zip(places, panels, strict=True):
            panel(figure.add_subplot(place))
        figure.suptitle(
            "The model (lines, diamonds) with every unknown at its middle, against piles that were measured"
            " (circles) and bands of home piles (grey)",
            x=0.005,
            ha="left",
            fontsize=11,
        )
        figure.savefig(target, dpi=100)
    print(target)


if __name__ == "__main__":
    main()
