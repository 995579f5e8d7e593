"""A list of people as somebody's spreadsheet has it: any delimiter, any encoding, columns in any order.

Reading is guessing, so nothing is taken from here without a look: each row comes with what is odd about it.
"""

import csv
import io
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from openpyxl import load_workbook
from rapidfuzz import fuzz, process

from bot.language.meaning import Language
from bot.phone_numbers import e164
from bot.profile import plain
from shared.errors import BadInput

MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 2000, 40, 200
"""A class fits many times over."""
MOST_UNPACKED = 60 * 1024 * 1024
"""A workbook that unpacks to more is none of people. [octets]"""
DELIMITERS = ",;\t|"
HEADER_WITHIN = 10
"""A heading, if there is one, stands in the first rows, under a title perhaps."""
ALIKE = 82
"""Score from 0 to 100 from which two words count as the same, misspelt."""
FIELDS: Mapping[str, tuple[str, ...]] = {
    "number": (
        "phone", "phone number", "mobile", "cell", "cell phone", "telephone", "number", "text number", "tel",
        "telefono", "numero de telefono", "celular", "movil", "numero",
    ),
    "name": (
        "name", "first name", "given name", "full name", "participant",
        "nombre", "primer nombre", "participante",
    ),
    "language": ("language", "preferred language", "lang", "idioma", "lengua", "idioma preferido"),
    "reference": (
        "consent", "consent form", "consent reference", "reference", "form number", "form", "paper",
        "signed form",
        "consentimiento", "forma de consentimiento", "referencia", "formulario", "papel",
    ),
}  # fmt: skip
"""What the program takes from a list, and how people head such a column, without accents."""
LANGUAGES: Mapping[str, Language] = {
    "en": "en", "eng": "en", "english": "en", "ingles": "en", "inglesa": "en",
    "es": "es", "esp": "es", "sp": "es", "spa": "es", "spanish": "es", "espanol": "es", "castellano": "es",
}  # fmt: skip

Grid = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of a list.

    row        its place in the file, from 1
    number     in E.164, None where it is none
    language   None where the file does not say, or says something else
    oddities   "no_number", "bad_number", "twice", "unknown_language"; the last alone keeps nobody out
    """

    row: int
    name: str | None
    written: str
    number: str | None
    language: Language | None
    reference: str | None
    oddities: tuple[str, ...]

    @property
    def usable(self) -> bool:
        """Whether somebody can be reached by it."""
        return not set(self.oddities) - {"unknown_language"}


def read_grid(content: bytes, most_rows: int = MOST_ROWS) -> Grid:
    """The cells of a CSV or XLSX file, empty rows left out. Raises BadInput where it is neither."""
    if not content.strip():
        raise BadInput("the file is empty: choose another")
    rows = _workbook(content, most_rows) if content[:2] == b"PK" else _separated(content, most_rows)
    grid = tuple(row for row in rows if any(row))
    if not grid:
        raise BadInput("the file has no rows: choose another")
    return grid


def _separated(content: bytes, most_rows: int) -> Iterator[tuple[str, ...]]:
    text = _decoded(content)
    if "\0" in text:
        raise BadInput("this is no CSV or XLSX file: save the list as one of these")
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))):
            yield _row(number, row, most_rows)
    except csv.Error:
        raise BadInput("this cannot be read as CSV: save the list as XLSX instead") from None


def _decoded(content: bytes) -> str:
    """UTF-16 where it says so, UTF-8 where it is that, else what older spreadsheets of the West write."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _delimiter(text: str) -> str:
    """The sign that splits most of the first lines into the same number of cells, more than one."""
    lines = [line for line in text.splitlines()[:20] if line.strip()]

    def regular(sign: str) -> tuple[int, int]:
        counts = [number for line in lines if (number := line.count(sign))]
        usual = max(counts, key=counts.count, default=0)
        return (counts.count(usual), usual)

    return max(DELIMITERS, key=regular)


def _workbook(content: bytes, most_rows: int) -> Iterator[tuple[str, ...]]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(each.file_size for each in packed.infolist()) > MOST_UNPACKED:
                raise BadInput("the workbook is too large: save only the list, as CSV")
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        sheet.reset_dimensions()
        for number, row in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS, values_only=True)):
            yield _row(number, [_cell(value) for value in row], most_rows)
    except BadInput:
        raise
    except Exception:  # a broken workbook fails in as many ways as it has parts
        raise BadInput("this workbook cannot be read: save the list as CSV") from None


def _cell(value: object) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, date | datetime):
        return value.isoformat()
    return "" if value is None else str(value)


def _row(number: int, cells: Sequence[str], most_rows: int) -> tuple[str, ...]:
    if number >= most_rows + HEADER_WITHIN:
        raise BadInput("the file has too many rows: cut it into several")
    return tuple(" ".join(cell.split())[:LONGEST_CELL] for cell in cells[:MOST_COLUMNS])


def header_of(grid: Grid) -> int | None:
    """The row that heads the columns, None where the list begins at once."""
    best, best_score = None, 0
    for number, row in enumerate(grid[:HEADER_WITHIN]):
        score = len(_headed(row))
        if score > best_score and not any(_is_number(cell) for cell in row):
            best, best_score = number, score
    return best


def guess_columns(grid: Grid) -> dict[str, int]:
    """What stands in which column, from 0: by the heading, else by what the cells look like."""
    header = header_of(grid)
    columns = {} if header is None else _headed(grid[header])
    body = grid[:50] if header is None else grid[header + 1 : header + 51]
    width = max((len(row) for row in body), default=0)
    cells = [[row[place] for row in body if place < len(row)] for place in range(width)]
    if "number" not in columns:
        numbers = {place: sum(map(_is_number, column)) for place, column in enumerate(cells)}
        best = max(numbers, key=lambda place: numbers[place], default=None)
        if best is not None and numbers[best]:
            columns["number"] = best
    for field, fits in (("language", _is_language), ("name", _is_name)):
        for place, column in enumerate(cells):
            told = [cell for cell in column if cell]
            if field not in columns and place not in columns.values() and told and all(map(fits, told)):
                columns[field] = place
    return columns


def entries(grid: Grid, columns: Mapping[str, int]) -> list[Entry]:
    """The rows under the heading, each read by these columns."""
    header = header_of(grid)
    seen: set[str] = set()
    found = []
    for place, row in enumerate(grid):
        if header is None or place > header:
            entry = _entry(place + 1, row, columns, seen)
            seen |= {entry.number} if entry.number else set()
            found.append(entry)
    return found


def _entry(number: int, row: Sequence[str], columns: Mapping[str, int], seen: set[str]) -> Entry:
    def cell(field: str) -> str:
        place = columns.get(field)
        return row[place] if place is not None and 0 <= place < len(row) else ""

    written, said = cell("number"), cell("language")
    phone, language = _number(written), _language(said)
    oddities = []
    if not written:
        oddities.append("no_number")
    elif phone is None:
        oddities.append("bad_number")
    elif phone in seen:
        oddities.append("twice")
    if said and language is None:
        oddities.append("unknown_language")
    first_name = cell("name").partition(",")[2].strip() or cell("name")
    return Entry(
        row=number,
        name=first_name.split(" ")[0][:40] or None,
        written=written,
        number=phone,
        language=language,
        reference=cell("reference")[:80] or None,
        oddities=tuple(oddities),
    )


def _headed(row: Sequence[str]) -> dict[str, int]:
    """Fields whose heading stands in this row, the best fitting first."""
    scores = sorted(
        (
            (_score(cell, words), field, place)
            for place, cell in enumerate(row)
            if cell
            for field, words in FIELDS.items()
        ),
        key=lambda found: -found[0],
    )
    columns: dict[str, int] = {}
    for score, field, place in scores:
        if score >= ALIKE and field not in columns and place not in columns.values():
            columns[field] = place
    return columns


def _score(cell: str, words: Sequence[str]) -> float:
    found = process.extractOne(plain(cell).strip(" .:#*"), words, scorer=fuzz.token_sort_ratio)
    return found[1] if found is not None else 0.0


def _number(cell: str) -> str | None:
    try:
        return e164(cell) if len(cell) <= 40 else None
    except BadInput:
        return None


def _is_number(cell: str) -> bool:
    return sum(sign.isdigit() for sign in cell) >= 7


def _language(cell: str) -> Language | None:
    word = plain(cell).strip(" .")
    if word in LANGUAGES:
        return LANGUAGES[word]
    found = process.extractOne(word, [each for each in LANGUAGES if len(each) > 4], scorer=fuzz.ratio)
    return LANGUAGES[found[0]] if found is not None and found[1] >= ALIKE else None


def _is_language(cell: str) -> bool:
    return _language(cell) is not None


def _is_name(cell: str) -> bool:
    return not any(sign.isdigit() or sign == "@" for sign in cell)
