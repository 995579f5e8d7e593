"""Lists as people keep them: any delimiter, encoding and order of columns; every oddity told with its row."""

import io
import zipfile
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from bot.staff.roster_file import MOST_ROWS, entries, guess_columns, read_grid
from shared.errors import BadInput


def people(content: bytes) -> list[tuple[Any, ...]]:
    """(row, name, number, language, oddities) of a file, by the columns that are guessed."""
    grid = read_grid(content)
    return [
        (one.row, one.name, one.number, one.language, one.oddities)
        for one in entries(grid, guess_columns(grid))
    ]


ANA = ("Ana", "+15055550160", "es", ())
BOB = ("Bob", "+15055550161", "en", ())


@pytest.mark.parametrize(
    "text",
    [
        "First name,Phone,Language\nAna,505-555-0160,Spanish\nBob,5055550161,English\n",
        "Nombre;Teléfono;Idioma\nAna;(505) 555-0160;español\nBob;505.555.0161;inglés\n",
        "LANGUAGE\tCELL\tNAME\nSp\t1 505 555 0160\tAna\nEN\t+1 505 555 0161\tBob\n",
        "Frist Nmae|Phone nubmer|Langauge\nAna|505 555 0160|Espanol\nBob|505 555 0161|Englsh\n",
        "Ana,505-555-0160,es\nBob,505-555-0161,en\n",
        "505-555-0160,Ana,es\r\n505-555-0161,Bob,en\r\n",
        'Participant,Mobile,Preferred language\n"Ruiz, Ana",505-555-0160,ES\n"Bob Marsh",505-555-0161,en\n',
    ],
    ids=["english", "spanish", "tabs", "misspelt", "no heading", "another order", "whole names"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_same_two_people_however_they_are_written(text: str, encoding: str) -> None:
    """Ana in Spanish and Bob in English, in E.164."""
    assert [one[1:] for one in people(text.encode(encoding))] == [ANA, BOB]


def test_a_workbook_is_read_like_a_table() -> None:
    """A title above, numbers kept as numbers, empty rows between."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Spring class", date(2026, 3, 7)],
        [],
        ["Name", "Phone", "Idioma"],
        ["Ana", 5055550160, "es"],
    ):
        sheet.append(row)
    sheet.append(["Bob", 5055550161.0, "en"])
    out = io.BytesIO()
    book.save(out)

    assert [one[1:] for one in people(out.getvalue())] == [ANA, BOB]


def test_each_oddity_stands_with_its_row() -> None:
    """No number, none that exists, the same twice, a language that nobody speaks here."""
    content = (
        b"name,phone,language\nAna,505-555-0160,es\nBob,,en\nCy,555-12,en\nDee,(505) 5550160,en\n"
        b"Eve,505-555-0163,klingon\n"
    )

    assert [(row, oddities) for row, _, _, _, oddities in people(content)] == [
        (2, ()),
        (3, ("no_number",)),
        (4, ("bad_number",)),
        (5, ("twice",)),
        (6, ("unknown_language",)),
    ]


def test_only_a_reference_makes_a_reference() -> None:
    """A column of signed forms is kept as it is; nothing is made of its absence."""
    grid = read_grid(b"name,phone,consent form\nAna,505-555-0160,P-17\nBob,505-555-0161,\n")

    assert [one.reference for one in entries(grid, guess_columns(grid))] == ["P-17", None]


@pytest.mark.parametrize(
    ("content", "mend"),
    [
        (b"", "choose another"),
        (b"  \n , ,\n", "choose another"),
        (b"\x89PNG\r\n\x00\x00", "no CSV or XLSX"),
        (b"PK\x03\x04 not a workbook", "save the list as CSV"),
        (b"a,b\n" * (MOST_ROWS + 20), "cut it into several"),
    ],
    ids=["empty", "blank", "a picture", "a broken workbook", "too long"],
)
def test_what_is_no_list_is_refused_with_the_mend(content: bytes, mend: str) -> None:
    """One line says what to do."""
    with pytest.raises(BadInput, match=mend):
        read_grid(content)


def test_a_workbook_that_unpacks_to_far_too_much_is_refused() -> None:
    """A small archive of a huge sheet is not unpacked."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 80_000_000)

    with pytest.raises(BadInput, match="too large"):
        read_grid(out.getvalue())


@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
def test_any_file_is_read_or_refused(content: bytes) -> None:
    """No content breaks the reading; what is read has bounded cells."""
    try:
        grid = read_grid(content)
    except BadInput:
        return
    found = entries(grid, guess_columns(grid))
    assert all(len(one.name or "") <= 40 for one in found)
    assert len(found) <= len(grid)
