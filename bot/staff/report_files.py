"""The yearly report as files: tables for a spreadsheet, letter pages to hand out."""

import csv
from collections.abc import Sequence
from io import BytesIO, StringIO
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import LETTER
from reportlab.lib.styles import ParagraphStyle, getSampleStyleSheet
from reportlab.lib.units import inch
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from bot.staff.letters import BOLD, PLAIN
from bot.staff.report import Section

WIDE = LETTER[0] - 2 * inch
FIRST_OF_FEW, FIRST_OF_MANY = 0.6, 0.27
"""How much of the line the names of the rows take."""


def as_csv(report: Sequence[Section]) -> bytes:
    """The tables one below the other, for a spreadsheet; no cell can be taken for a formula."""
    out = StringIO()
    writer = csv.writer(out)
    for section in report:
        writer.writerow([harmless(section.title)])
        writer.writerows([[harmless(note)] for note in section.notes])
        if section.head:
            writer.writerow([harmless(cell) for cell in section.head])
        writer.writerows([[harmless(cell) for cell in row] for row in section.rows])
        writer.writerow([])
    return out.getvalue().encode("utf-8-sig")


def harmless(cell: str) -> str:
    """A cell that no spreadsheet runs."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


def as_pdf(title: str, byline: str, report: Sequence[Section], language: str) -> bytes:
    """The report on letter pages, with text that can be selected."""
    out = BytesIO()
    styles = getSampleStyleSheet()
    body = ParagraphStyle("body", parent=styles["BodyText"], fontName=PLAIN, fontSize=9, leading=12)
    heading = ParagraphStyle(
        "heading", parent=styles["Heading2"], fontName=BOLD, spaceBefore=12, keepWithNext=1
    )
    head = ParagraphStyle("title", parent=styles["Title"], fontName=BOLD, alignment=0)
    story: list[Flowable] = [Paragraph(escape(title), head), Paragraph(escape(byline), body)]
    for section in report:
        story.append(Paragraph(escape(section.title), heading))
        story.extend(Paragraph(escape(note), body) for note in section.notes)
        if section.rows:
            story += [Spacer(1, 4), _table(section, body)]
    document = SimpleDocTemplate(
        out, pagesize=LETTER, title=title, author=byline, lang=language, leftMargin=inch, rightMargin=inch
    )
    document.build(story)
    return out.getvalue()


def _table(section: Section, body: ParagraphStyle) -> Table:
    """Names may take several lines; figures are short."""
    cells = [
        [
            Paragraph(escape(cell), body) if not place or row is section.head else cell
            for place, cell in enumerate(row)
        ]
        for row in (section.head, *section.rows)
    ]
    others = len(section.head) - 1
    first = WIDE * (FIRST_OF_MANY if others > 2 else FIRST_OF_FEW)
    table = Table(cells, [first, *[(WIDE - first) / others] * others], repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), body.fontName, body.fontSize),
                ("LEFTPADDING", (0, 0), (0, -1), 0),
                ("LINEBELOW", (0, 0), (-1, 0), 1, colors.black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, colors.grey),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        )
    )
    return table
