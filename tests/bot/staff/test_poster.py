"""The poster: one page, both languages, a code to be read from afar, and text that a screen reader finds."""

from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from bot.staff.poster import Ways, poster
from storage.classes import ClassRow

WAYS = Ways("+15055550100", "larkmoor_bot")
INCH_PT, CAP_HEIGHT = 72, 0.729
"""Bitstream Vera Sans Bold's capitals over its size (1493 of 2048 units: the font's own OS/2 table)."""


def page(code: str = "KAP47", language: str = "es", title: str = "Compost en casa") -> Any:
    """The one page of a class's poster."""
    taught = ClassRow(code, language, "America/Denver", title=title)  # type: ignore[arg-type]
    reader = PdfReader(BytesIO(poster(taught, "Larkmoor Compost Line", WAYS, ("en", "es"))))
    assert len(reader.pages) == 1
    return reader.pages[0]


def test_it_is_one_letter_page_with_both_languages() -> None:
    """Code, number, steps and how to stop, as text."""
    sheet = page()
    text = " ".join(sheet.extract_text().split())

    assert (sheet.mediabox.width, sheet.mediabox.height) == (612, 792)
    for words in ("KAP47", "(505) 555-0100", "@larkmoor_bot", "Text KAP47", "Manda KAP47", "STOP", "ALTO"):
        assert words in text
    assert "For adults" in text
    assert "Para adultos" in text


@pytest.mark.parametrize("code", ["KAP47", "COMPO47"])
def test_the_code_is_read_from_ten_feet(code: str) -> None:
    """Capitals of an inch and more: an inch for each ten feet (common practice of sign makers)."""
    sizes = []
    page(code).extract_text(
        visitor_text=lambda text, _cm, tm, _font, size: (
            sizes.append(size * tm[0]) if code == text.strip() else 0
        )
    )

    assert max(sizes) * CAP_HEIGHT >= INCH_PT


def test_it_is_black_on_white() -> None:
    """No colour and no grey is set anywhere on the page."""
    content = page().get_contents().get_data().decode("latin-1")
    colours = {line for line in content.split("\n") if line.endswith((" rg", " RG", " g", " G", " k", " K"))}

    assert colours <= {"0 0 0 rg", "0 0 0 RG", "0 g", "0 G"}


@pytest.mark.parametrize(
    ("ways", "link"),
    [
        (Ways("+15055550100"), "sms:+15055550100?body=KAP47"),
        (Ways(None, "larkmoor_bot"), "https://t.me/larkmoor_bot?start=KAP47"),
        (Ways(), None),
    ],
)
def test_the_square_opens_a_text_or_a_chat(ways: Ways, link: str | None) -> None:
    """RFC 5724 for texts with a body; a deep link where there is only a chat."""
    assert ways.link("KAP47") == link


def test_its_letters_are_in_the_file() -> None:
    """A viewer that lacks our font prints the same page: no font is left for it to replace."""
    fonts = [font.get_object() for font in page()["/Resources"]["/Font"].values()]
    used = {font["/BaseFont"] for font in fonts if "/FontDescriptor" in font}

    assert any("Bold" in name for name in used)
    assert all("/FontFile2" in font["/FontDescriptor"] for font in fonts if "/FontDescriptor" in font)


def test_a_long_title_takes_two_lines_at_most() -> None:
    """However long it is, the code stays on the page and large."""
    text = page(title="Backyard compost for absolute beginners " * 4).extract_text()

    assert "KAP47" in text
