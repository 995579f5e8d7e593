"""Scores the reader on banks of messages: `python -m tests.bot.language.score [--show] FILE...`.

A bank is JSON lines {"id", "text", "now", "units", "expect": {"language", "facts", "asks"}}.
"""

import argparse
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from bot.language.record_form import project
from bot.language.understand import understand


@dataclass
class Score:
    """Whole records right, F1 over single facts, and the errors that may not happen at all."""

    messages: int = 0
    right: int = 0
    hits: int = 0
    expected: int = 0
    found: int = 0
    stop_missed: list[str] = field(default_factory=list)
    stop_false: list[str] = field(default_factory=list)
    smoke_missed: list[str] = field(default_factory=list)
    smoke_false: list[str] = field(default_factory=list)
    temperature: list[str] = field(default_factory=list)
    misses: list[tuple[dict[str, Any], dict[str, Any]]] = field(default_factory=list)

    @property
    def accuracy(self) -> float:
        return self.right / self.messages

    @property
    def f1(self) -> float:
        return 2 * self.hits / (self.expected + self.found) if self.expected + self.found else 1.0

    def add(self, line: dict[str, Any]) -> None:
        """Read one message of a bank and compare."""
        now = datetime.fromisoformat(line["now"])
        got = project(understand(line["text"], now, line["units"]), now)
        want = line["expect"]
        facts, wanted = _set(got["facts"]), _set(want["facts"])
        self.messages += 1
        self.hits += len(facts & wanted)
        self.expected += len(wanted)
        self.found += len(facts)
        if (
            facts == wanted
            and _set(got["asks"]) == _set(want["asks"])
            and got["language"] == want["language"]
        ):
            self.right += 1
        else:
            self.misses.append((line, got))
        self._compare(
            "stop", _kinds(got["asks"]), _kinds(want["asks"]), self.stop_missed, self.stop_false, line
        )
        self._compare(
            "smoke", _kinds(got["facts"]), _kinds(want["facts"]), self.smoke_missed, self.smoke_false, line
        )
        if _temperatures(got) != _temperatures(want):
            self.temperature.append(line["id"])

    @staticmethod
    def _compare(
        kind: str, got: set[str], want: set[str], missed: list[str], false: list[str], line: dict[str, Any]
    ) -> None:
        if kind in want - got:
            missed.append(line["id"])
        if kind in got - want:
            false.append(line["id"])


def _set(records: Iterable[dict[str, Any]]) -> set[str]:
    return {json.dumps(record, sort_keys=True, ensure_ascii=False) for record in records}


def _kinds(records: Iterable[dict[str, Any]]) -> set[str]:
    return {record["kind"] for record in records}


def _temperatures(record: dict[str, Any]) -> set[str]:
    return _set(fact for fact in record["facts"] if fact["kind"] == "temperature")


def score(files: Iterable[Path]) -> Score:
    """Score all messages of the banks together."""
    total = Score()
    for file in files:
        for line in file.read_text(encoding="utf-8").splitlines():
            if line.strip():
                total.add(json.loads(line))
    return total


def main() -> None:
    """Print the score of each bank."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--show", action="store_true", help="list each miss with what was found and wanted")
    parser.add_argument("files", nargs="+", type=Path)
    options = parser.parse_args()
    for file in options.files:
        result = score([file])
        print(
            f"{file.name}: {result.right}/{result.messages} whole records ({result.accuracy:.1%}), "
            f"facts F1 {result.f1:.3f}"
        )
        for name in ("stop_missed", "stop_false", "smoke_missed", "smoke_false", "temperature"):
            errors = getattr(result, name)
            print(f"  {name}: {len(errors)}" + (f" {' '.join(errors)}" if options.show and errors else ""))
        if options.show:
            for line, got in result.misses:
                print(f"\n{line['id']} [{line['now']} {line['units']}] {line['text']}")
                print(f"  want {json.dumps(line['expect'], ensure_ascii=False)}")
                print(f"  got  {json.dumps(got, ensure_ascii=False)}")


if __name__ == "__main__":
    main()
