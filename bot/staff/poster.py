"""The poster of a class: one letter page in both languages, black on white, with text that can be selected.

The code is set as large as the page lets it. Capitals an inch high are read from ten feet away and more
(common practice of sign makers: an inch for each ten feet at best ease).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from urllib.parse import quote

import segno
from reportlab.lib.pagesizes import LETTER
from reportlab.lib.units import inch
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from bot.language.meaning import Language
from bot.language.wording import Voice
from bot.phone_numbers import as_written
from bot.staff.letters import BOLD, PLAIN
from storage.classes import ClassRow
from storage.outbox import Line

WIDTH, HEIGHT = LETTER
MARGIN = 0.6 * inch
LARGEST_CODE_PT, STEP_PT, SMALL_PT = 170.0, 15.0, 11.0
NARROWED = 0.88
"""The code's letters are made so much narrower, that seven of them may stand higher."""
QR_IN = 1.9
LIGHT_BORDER = 4
"""Modules of white that a QR code needs around it (ISO/IEC 18004)."""


@dataclass(frozen=True, slots=True)
class Ways:
    """How a graduate reaches the programme: a number for texts, the name of a Telegram bot, or both."""

    number: str | None = None
    telegram: str | None = None

    def link(self, code: str) -> str | None:
        """What the QR code opens: a text with the code in it (RFC 5724), else a chat, else nothing."""
        if self.number is not None:
            return f"sms:{self.number}?body={quote(code)}"
        return f"https://t.me/{self.telegram}?start={quote(code)}" if self.telegram else None


def poster(taught: ClassRow, programme: str, ways: Ways, languages: Sequence[Language]) -> bytes:
    """The poster as a PDF, in one or two languages side by side; the class's own comes first."""
    out = BytesIO()
    page = Canvas(
        out, pagesize=LETTER, pageCompression=1, lang="en-US" if taught.language == "en" else "es-US"
    )
    page.setTitle(f"{programme}: {taught.code}")
    page.setAuthor(programme)
    ordered = sorted(languages, key=lambda language: language != taught.language)
    top = _head(page, programme, taught, [Voice(one, "f", taught.taught_on or date.min) for one in ordered])
    below = _code(page, taught.code, top)
    number = as_written(ways.number) if ways.number else None
    values = {"code": taught.code, "number": number, "bot": ways.telegram}
    width = (WIDTH - 2 * MARGIN - 0.4 * inch * (len(ordered) - 1)) / len(ordered)
    for place, language in enumerate(ordered):
        left = MARGIN + place * (width + 0.4 * inch)
        _steps(page, Voice(language, "f", date.min), values, left, below, width)
    if (link := ways.link(taught.code)) is not None:
        _square(page, link)
    page.showPage()
    page.save()
    return out.getvalue()


def _head(page: Canvas, programme: str, taught: ClassRow, voices: Sequence[Voice]) -> float:
    """Programme and class; gives the height under them."""
    y = HEIGHT - MARGIN - 26
    y = _centred(page, programme, BOLD, 26, y)
    if taught.title:
        y = _centred(page, taught.title, PLAIN, 17, y - 4)
    invitation = " / ".join(voice.line(Line("poster.invitation", {})) for voice in voices)
    return _centred(page, invitation, BOLD, 17, y - 14)


def _centred(page: Canvas, text: str, font: str, size: float, y: float) -> float:
    """A text in the middle, smaller where two lines do not hold it; gives the height under it."""
    while len(lines := simpleSplit(text, font, size, WIDTH - 2 * MARGIN)) > 2 and size > 9:
        size -= 1
    for line in lines[:2]:
        page.setFont(font, size)
        page.drawCentredString(WIDTH / 2, y, line)
        y -= 1.25 * size
    return y


def _code(page: Canvas, code: str, top: float) -> float:
    """The code across the page, in a frame; gives the height under it."""
    inner = WIDTH - 2 * MARGIN - 0.3 * inch
    size = min(LARGEST_CODE_PT, inner / (stringWidth(code, BOLD, 1) * NARROWED))
    height = 0.72 * size + 0.5 * inch
    page.setLineWidth(3)
    page.rect(MARGIN, top - height, WIDTH - 2 * MARGIN, height)
    left = (WIDTH - stringWidth(code, BOLD, size) * NARROWED) / 2
    page.saveState()
    text = page.beginText(left, top - height + 0.25 * inch)
    text.setFont(BOLD, size)
    text.setHorizScale(100 * NARROWED)
    text.textOut(code)
    page.drawText(text)
    page.restoreState()
    return top - height - 34


def _steps(
    page: Canvas, voice: Voice, values: dict[str, str | None], left: float, top: float, width: float
) -> None:
    y = top
    for number, text in enumerate(_wordings(voice, values), 1):
        lines = simpleSplit(text, PLAIN, STEP_PT, width - 22)
        page.setFont(BOLD, STEP_PT)
        page.drawString(left, y, f"{number}")
        page.setFont(PLAIN, STEP_PT)
        for line in lines:
            page.drawString(left + 22, y, line)
            y -= 1.25 * STEP_PT
        y -= STEP_PT / 2
    page.setFont(PLAIN, SMALL_PT)
    for line in simpleSplit(voice.line(Line("poster.small", {})), PLAIN, SMALL_PT, width):
        page.drawString(left, y, line)
        y -= 1.25 * SMALL_PT


def _wordings(voice: Voice, values: dict[str, str | None]) -> Iterator[str]:
    ways = [way for way in ("number", "bot") if values[way] is not None]
    yield voice.line(Line(f"poster.send.{'_or_'.join(ways)}", values))
    for step in ("yes", "tell"):
        yield voice.line(Line(f"poster.{step}", values))


def _square(page: Canvas, link: str) -> None:
    """The QR code in the middle of the foot of the page."""
    modules = [list(row) for row in segno.make(link, error="m", micro=False).matrix_iter(border=LIGHT_BORDER)]
    side = QR_IN * inch / len(modules)
    left, top = (WIDTH - QR_IN * inch) / 2, MARGIN / 2 + QR_IN * inch
    for down, row in enumerate(modules):
        for across, dark in enumerate(row):
            if dark:
                page.rect(left + across * side, top - (down + 1) * side, side, side, stroke=0, fill=1)
