"""The curve of who is still going, as a picture that a phone can show; the table beside it says the same."""

from collections.abc import Callable, Sequence
from html import escape

WIDE, HIGH, LEFT, BOTTOM = 400, 250, 52, 36
YEAR_D = 365


def curve_svg(points: Sequence[tuple[int, float, float, float]], say: Callable[[str], str]) -> str:
    """An SVG of (day, share, low, high): a line through marked points, bars for the bands."""
    marks = "".join(
        f'<line class="band" x1="{_x(day)}" x2="{_x(day)}" y1="{_y(low)}" y2="{_y(high)}"/>'
        f'<circle cx="{_x(day)}" cy="{_y(share)}" r="5"/>'
        f'<text x="{_x(day) + 9}" y="{_y(share) - 9}">{share:.0%}</text>'
        for day, share, low, high in points
    )
    line = " ".join(f"{_x(day)},{_y(share)}" for day, share in [(0, 1.0), *(point[:2] for point in points)])
    scale = "".join(
        f'<text class="scale" x="{LEFT - 8}" y="{_y(share) + 5}" text-anchor="end">{share:.0%}</text>'
        f'<line class="grid" x1="{LEFT}" x2="{WIDE}" y1="{_y(share)}" y2="{_y(share)}"/>'
        for share in (0, 0.5, 1)
    )
    days = "".join(
        f'<text class="scale" x="{_x(day)}" y="{HIGH - 8}" text-anchor="middle">{day}</text>'
        for day in (30, 90, 180, 365)
    )
    name = escape(say("Share of households still going, by days since joining"))
    return (
        f'<svg class="curve" role="img" aria-label="{name}" viewBox="0 0 {WIDE + 40} {HIGH}">'
        f'{scale}{days}<polyline points="{line}"/>{marks}</svg>'
    )


def _x(day: float) -> float:
    return round(LEFT + (WIDE - LEFT - 30) * day / YEAR_D, 1)


def _y(share: float) -> float:
    return round(HIGH - BOTTOM - (HIGH - BOTTOM - 24) * share, 1)
