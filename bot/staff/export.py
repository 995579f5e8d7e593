"""Everything in one archive: a CSV file for each table, a dictionary of the columns, the report's factors.

From it a stranger can rebuild the yearly figures. What is personal is left blank unless it is asked for.
"""

import csv
import tomllib
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from io import TextIOWrapper
from itertools import repeat
from tempfile import SpooledTemporaryFile
from typing import Any

from bot.staff.report_files import harmless
from shared.diversion import FACTORS, group_of
from shared.materials import all_materials
from storage.work import Work

IN_MEMORY = 16 * 1024 * 1024
"""A larger archive is written to a file meanwhile. [octets]"""
QUICK = 2
"""How hard to pack: harder takes twice as long for a tenth less."""
README = """Every file is a table of the database, as CSV in UTF-8; dictionary.csv tells what each column
holds. Moments are UTC. JSON stands in some columns. A cell that a spreadsheet would run begins with an
apostrophe. factors.csv: kilograms in a cubic metre of each feedstock, low, middle and high, with the lists
that they come from.
"""


@dataclass(frozen=True, slots=True)
class File:
    """A file of the archive: its table, and what each column holds; `personal` columns may be blank."""

    table: str
    about: str
    columns: Mapping[str, str]
    personal: frozenset[str]
    left_out: frozenset[str]


@cache
def dictionary() -> tuple[File, ...]:
    """Every file of the archive."""
    entries: dict[str, dict[str, Any]] = tomllib.loads(_toml())
    return tuple(
        File(
            table,
            " ".join(entry["about"].split()),
            {name: text for name, text in entry.items() if isinstance(text, str) and name != "about"},
            frozenset(entry.get("personal", ())),
            frozenset(entry.get("left_out", ())),
        )
        for table, entry in entries.items()
        if table != "nowhere"
    )


@cache
def nowhere() -> Mapping[str, str]:
    """Tables that are not exported, and why."""
    return dict(tomllib.loads(_toml())["nowhere"])


def _toml() -> str:
    return (files("bot.staff") / "export.toml").read_text(encoding="utf-8")


def archive(work: Work, personal: bool) -> bytes:
    """The archive; with names, numbers and texts where `personal`."""
    with SpooledTemporaryFile(max_size=IN_MEMORY) as out:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=QUICK) as packed:
            packed.writestr("README.txt", README)
            _write(packed, "dictionary.csv", ("file", "column", "holds"), _explained(personal))
            _write(packed, "factors.csv", FACTOR_HEAD, _factors())
            for file in dictionary():
                shown = _rows(work, file, frozenset() if personal else file.personal)
                _write(packed, f"{file.table}.csv", file.columns, shown)
        out.seek(0)
        return out.read()


def _write(packed: zipfile.ZipFile, name: str, head: Iterable[str], rows: Iterable[Iterable[Any]]) -> None:
    with packed.open(name, "w", force_zip64=True) as raw, TextIOWrapper(raw, "utf-8", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(head)
        writer.writerows(rows)


def _rows(work: Work, file: File, hidden: frozenset[str]) -> Iterator[Iterable[Any]]:
    """The rows of a table as text; what is hidden is not even read."""
    read = [name for name in file.columns if name not in hidden]
    for block in work.export.blocks(file.table, read):
        cells = dict(zip(read, map(_as_text, block), strict=True))
        yield from zip(*(cells.get(name) or repeat("", len(block[0])) for name in file.columns), strict=True)


def _as_text(column: Sequence[Any]) -> Sequence[Any]:
    """Cells as text: empty for nothing, true or false, ISO moments, and nothing that a spreadsheet runs."""
    kind = next((type(cell) for cell in column if cell is not None), type(None))
    write = WRITTEN.get(kind)
    return column if write is None else ["" if cell is None else write(cell) for cell in column]


WRITTEN: Mapping[type, Callable[[Any], str]] = {
    bool: lambda cell: "true" if cell else "false",
    datetime: datetime.isoformat,
    str: harmless,
}
"""What the writer of the file would not write as we want it."""


def _explained(personal: bool) -> Iterator[tuple[str, str, str]]:
    for file in dictionary():
        yield f"{file.table}.csv", "", file.about
        for column, text in file.columns.items():
            blank = column in file.personal and not personal
            yield f"{file.table}.csv", column, f"{text} (left blank: personal)" if blank else text


FACTOR_HEAD = ("material", "group", "low_kg_m3", "middle_kg_m3", "high_kg_m3", "lists")


def _factors() -> Iterator[tuple[str, ...]]:
    for material in all_materials():
        group = group_of(material.id)
        if group != "none":
            three = FACTORS[group]
            lists = "; ".join(sorted({factor.source for factor in three}))
            yield material.id, group, *(repr(factor.kg_m3) for factor in three), lists
