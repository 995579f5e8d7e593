"""The command line: `warmheap chat`, `serve`, `rehearse`, `forecast`, `understand`.

Each command imports what it needs when it runs, so that the small ones start at once.
"""

import argparse
import json
import os
import sys
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, NoReturn

from shared.errors import BadInput, WarmheapError

BATCH = 100
"""Piles forecast in one call: enough for the batch to pay, few enough that results keep coming."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """One line instead of the usage screen."""
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status: 0, or 2 for input that cannot be used."""
    given = _parser().parse_args(arguments)
    try:
        return int(given.run(given))
    except WarmheapError as trouble:
        _complain(trouble)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has left; nothing more can be told
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="warmheap", description="A chat and SMS companion for backyard compost piles.")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    chat = commands.add_parser("chat", help="talk with it here, in this window")
    chat.add_argument("--as", dest="name", metavar="NAME", help="who is speaking; two can share a pile")
    chat.set_defaults(run=_chat)

    serve = commands.add_parser("serve", help="run every channel that the settings configure")
    serve.set_defaults(run=_serve)

    coordinator = commands.add_parser("coordinator", help="make a code that lets somebody coordinate here")
    coordinator.add_argument("name", metavar="NAME", help="their first name, as graduates will read it")
    coordinator.set_defaults(run=_coordinator)

    demo = commands.add_parser("demo", help="see the staff's pages with an invented county in them")
    demo.add_argument("--http", default="127.0.0.1:8080", metavar="HOST:PORT", help="where to serve them")
    demo.add_argument("--seed", type=int, default=1, help="another seed, another county")
    demo.set_defaults(run=_demo)

    rehearse = commands.add_parser("rehearse", help="run a scripted season on a simulated clock")
    rehearse.add_argument("file", type=Path, metavar="FILE")
    rehearse.add_argument("--json", action="store_true", help="print one object a message")
    rehearse.set_defaults(run=_rehearse)

    forecast = commands.add_parser("forecast", help="forecast the piles of a file, one JSON object a line")
    forecast.add_argument("file", type=Path, metavar="FILE")
    forecast.add_argument("--as-of", type=_date, metavar="DATE", help="for lines without their own")
    forecast.set_defaults(run=_forecast)

    understand = commands.add_parser("understand", help="print what a message means, as JSON")
    understand.add_argument("text", nargs="*", metavar="TEXT")
    understand.add_argument("--now", type=_moment, help="local date and time of the message (now)")
    understand.add_argument("--units", choices=("f", "c"), default="f", help="of a bare temperature (f)")
    understand.add_argument("--batch", type=Path, metavar="FILE", help="messages to read, one object a line")
    understand.set_defaults(run=_understand)
    return parser


def _chat(given: argparse.Namespace) -> int:
    from bot.app import chat

    chat(given.name)
    return 0


def _serve(_given: argparse.Namespace) -> int:
    from bot.app import serve

    serve()
    return 0


def _coordinator(given: argparse.Namespace) -> int:
    from bot.app import coordinator

    print(f"{given.name} texts this to the program's number: {coordinator(given.name)}")
    print("It works once, for a week.")
    return 0


def _demo(given: argparse.Namespace) -> int:
    from bot.app import demo

    demo(given.http, given.seed)
    return 0


def _rehearse(given: argparse.Namespace) -> int:
    from bot.app import rehearse

    for message in rehearse(_read(given.file), str(given.file)):
        print(message.as_json() if given.json else message.as_text(), flush=True)
    return 0


def _forecast(given: argparse.Namespace) -> int:
    status = 0
    lines = list(_lines(given.file))
    for first in range(0, len(lines), BATCH):
        batch = lines[first : first + BATCH]
        for (number, _), answer in zip(
            batch, _forecasts([line for _, line in batch], given.as_of), strict=True
        ):
            status = max(status, _tell(answer, f"{given.file}, line {number}"))
    return status


def _forecasts(lines: Sequence[str], as_of: date | None) -> list[dict[str, Any]]:
    """The forecast of each line, worked out together; `{"pile", "error"}` where a line cannot be used."""
    from bot.pile_file import forecast_line, name_of, read_line
    from shared.forecast import forecast_many

    answers: dict[int, dict[str, Any]] = {}
    cases = {}
    for place, line in enumerate(lines):
        try:
            cases[place] = read_line(line, as_of)
        except WarmheapError as trouble:
            answers[place] = {"pile": name_of(line), "error": str(trouble)}
    for (place, (pile, records, _)), outlook in zip(
        cases.items(), forecast_many(list(cases.values())), strict=True
    ):
        answers[place] = (
            {"pile": pile.id, "error": str(outlook)}
            if isinstance(outlook, BadInput)
            else forecast_line(pile, records, outlook)
        )
    return [answers[place] for place in range(len(lines))]


def _understand(given: argparse.Namespace) -> int:
    from bot.language.record_form import project
    from bot.language.understand import understand

    if given.batch is None:
        if not given.text:
            raise BadInput(
                "understand: no TEXT given; write the message after the options, or use --batch FILE"
            )
        now = given.now or datetime.now()  # noqa: DTZ005  the writer's own wall clock is what is meant
        print(
            json.dumps(project(understand(" ".join(given.text), now, given.units), now), ensure_ascii=False)
        )
        return 0
    status = 0
    for number, line in _lines(given.batch):
        status = max(status, _tell(_understood(line), f"{given.batch}, line {number}"))
    return status


def _understood(line: str) -> dict[str, Any]:
    """The record of one line `{"id", "text", "now", "units"}`, or `{"id", "error"}`."""
    from bot.language.record_form import project
    from bot.language.understand import understand

    known: Any = None
    try:
        given = json.loads(line)
        known = given.get("id")
        now = datetime.fromisoformat(given["now"]).replace(tzinfo=None)
        text, units = given["text"], given.get("units", "f")
        if not isinstance(text, str) or units not in ("f", "c"):
            raise ValueError('"text" must be a string and "units" f or c')
    except KeyError as missing:
        return {"id": known, "error": f"{missing.args[0]!r} is missing"}
    except (ValueError, TypeError, AttributeError) as trouble:
        return {"id": known, "error": f"not a message: {trouble}"}
    return {"id": known, **project(understand(text, now, units), now)}


def _tell(answer: dict[str, Any], place: str) -> int:
    """Print one answer in its place; where it is an error, name the place on standard error too."""
    print(json.dumps(answer, ensure_ascii=False), flush=True)
    if "error" not in answer:
        return 0
    _complain(f"{place}: {answer['error']}")
    return 2


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """The lines of a file that hold something, with their numbers."""
    for number, line in enumerate(_read(path).split("\n"), start=1):
        if line.strip():
            yield number, line


def _read(path: Path) -> str:
    """The text of a file; `-` is standard input."""
    try:
        return sys.stdin.read() if str(path) == "-" else path.read_text(encoding="utf-8")
    except OSError as trouble:
        raise BadInput(f"{path}: {trouble.strerror}") from None
    except UnicodeDecodeError as trouble:
        raise BadInput(f"{path}: not UTF-8 text at byte {trouble.start}; save it as UTF-8") from None


def _complain(trouble: object) -> None:
    print(f"warmheap: {trouble}", file=sys.stderr)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date; write it as 2026-04-01") from None


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no moment; write it as 2026-04-01T09:30") from None


if __name__ == "__main__":
    sys.exit(main())
