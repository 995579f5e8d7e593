"""`warmheap`: its commands, what they print, and how they end."""

import io
import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest

from bot.__main__ import main
from storage.inbox import Incoming
from storage.work import Store

PILE = {
    "pile": "p1",
    "built": "2026-03-01",
    "size_cm": [100, 100, 100],
    "ingredients": [
        {"material": "dry_leaves", "litres": 650},
        {"material": "grass_clippings", "litres": 600},
    ],
    "records": [{"kind": "temperature", "on": "2026-03-04", "f": 128.0}],
}


@pytest.fixture
def database(monkeypatch, tmp_path):
    """A database of the test's own; the machine's settings are left out."""
    url = f"sqlite:///{tmp_path}/warmheap.sqlite"
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARMHEAP_PROFILE", raising=False)
    monkeypatch.delenv("WARMHEAP_TELEGRAM_TOKEN", raising=False)
    monkeypatch.setenv("WARMHEAP_DATABASE_URL", url)
    return url


def run(capsys, *arguments: str) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of one command."""
    try:
        status = main(arguments)
    except SystemExit as ended:
        status = int(ended.code or 0)
    said = capsys.readouterr()
    return status, said.out, said.err


def chat(capsys, monkeypatch, *lines: str, name: str = "Ana") -> str:
    """What the console chat answers to piped lines."""
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    status, out, err = run(capsys, "chat", "--as", name)
    assert (status, err) == (0, "")
    return out


def test_understand_prints_one_record(capsys):
    """A message becomes the record of its facts and asks."""
    status, out, _ = run(capsys, "understand", "--now", "2026-03-04T18:00", "temp 128, looks dry")

    assert status == 0
    assert json.loads(out) == {
        "language": "en",
        "facts": [
            {"kind": "temperature", "f": 128.0, "on": "2026-03-04"},
            {"kind": "moisture", "feel": "dry", "on": "2026-03-04"},
        ],
        "asks": [],
    }


def test_understand_takes_bare_numbers_in_the_given_units(capsys):
    """With --units c a bare 55 is Celsius."""
    _, out, _ = run(capsys, "understand", "--now", "2026-03-04T18:00", "--units", "c", "55")

    assert json.loads(out)["facts"][0]["f"] == 131.0


def test_understand_reads_a_batch_in_order(capsys, tmp_path):
    """Each line gives its record under its id; one that cannot be used gives an error in its place."""
    batch = tmp_path / "messages.jsonl"
    batch.write_text(
        '{"id": "a", "text": "turned", "now": "2026-03-04T18:00", "units": "f"}\n'
        '{"id": "b", "text": "turned"}\n'
        "no json\n"
        '{"id": "c", "text": "ya la volteé", "now": "2026-03-04T18:00", "units": "f"}\n',
        encoding="utf-8",
    )

    status, out, err = run(capsys, "understand", "--batch", str(batch))

    answers = [json.loads(line) for line in out.splitlines()]
    assert status == 2
    assert [answer.get("id") for answer in answers] == ["a", "b", None, "c"]
    assert [answer.get("language") for answer in answers] == ["en", None, None, "es"]
    assert answers[1]["error"] == "'now' is missing"
    assert err.splitlines()[0] == f"warmheap: {batch}, line 2: 'now' is missing"
    assert len(err.splitlines()) == 2


def test_forecast_keeps_every_line_in_its_place(capsys, tmp_path):
    """A line that cannot be used gives its error, the others their forecast, and the exit status is 2."""
    piles = tmp_path / "piles.jsonl"
    broken = {key: value for key, value in PILE.items() if key != "built"}
    piles.write_text(
        "\n".join(json.dumps(pile | {"pile": name}) for name, pile in (("p1", PILE), ("p2", broken)))
    )

    status, out, err = run(capsys, "forecast", str(piles), "--as-of", "2026-03-10")

    first, second = (json.loads(line) for line in out.splitlines())
    assert status == 2
    assert (first["pile"], first["as_of"]) == ("p1", "2026-03-10")
    assert first["ready"]["p10"] <= first["ready"]["p50"] <= first["ready"]["p90"]
    assert second["pile"] == "p2"
    assert "built" in second["error"]
    assert err == f"warmheap: {piles}, line 2: {second['error']}\n"


@pytest.mark.parametrize(
    ("arguments", "mend"),
    [
        (("forecast", "nowhere.jsonl"), "nowhere.jsonl: No such file"),
        (("understand", "--batch", "nowhere.jsonl"), "nowhere.jsonl: No such file"),
        (("rehearse", "nowhere.txt"), "nowhere.txt: No such file"),
        (("forecast", "."), ".: Is a directory"),
        (("forecast", "latin1.txt"), "save it as UTF-8"),
        (("understand",), "no TEXT given"),
        (("understand", "--now", "noon", "hi"), "write it as 2026-04-01T09:30"),
        (("forecast", "x", "--as-of", "noon"), "write it as 2026-04-01"),
        (("dance",), "--help"),
        (("serve",), "set WARMHEAP_TELEGRAM_TOKEN"),
    ],
)
def test_bad_input_ends_in_one_line(capsys, database, tmp_path, arguments, mend):  # noqa: ARG001
    """Whatever cannot be used is named with its mend, in one line on standard error, with exit status 2."""
    (tmp_path / "latin1.txt").write_bytes("año".encode("latin-1"))

    status, out, err = run(capsys, *arguments)

    assert (status, out) == (2, "")
    assert mend in err
    assert err.startswith("warmheap")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("setting", "value", "mend"),
    [
        ("WARMHEAP_DATABASE_URL", "nonsense", "database URL cannot be used"),
        ("WARMHEAP_DATABASE_URL", "sqlite:////no/such/folder/x.sqlite", "cannot be opened"),
        ("WARMHEAP_PROFILE", "nowhere.toml", "nowhere.toml: No such file"),
    ],
)
def test_a_setting_that_cannot_be_used_ends_in_one_line(capsys, monkeypatch, database, setting, value, mend):  # noqa: ARG001
    """The chat does not begin on a broken setting, and says which one it is."""
    monkeypatch.setenv(setting, value)
    monkeypatch.setattr("sys.stdin", io.StringIO("temp 128\n"))

    status, out, err = run(capsys, "chat")

    assert (status, out) == (2, "")
    assert mend in err
    assert err.count("\n") == 1


def test_a_database_of_a_newer_version_is_left_alone(capsys, monkeypatch, database, tmp_path):  # noqa: ARG001
    """Where a newer version has been at work, one line says to install it, and nothing is changed."""
    chat(capsys, monkeypatch, "hello")
    with closing(sqlite3.connect(tmp_path / "warmheap.sqlite")) as file:
        file.execute("UPDATE alembic_version SET version_num = '9999'")
        file.commit()
    monkeypatch.setattr("sys.stdin", io.StringIO("temp 128\n"))

    status, out, err = run(capsys, "chat")

    assert (status, out) == (2, "")
    assert "newer version (9999): install that version" in err
    assert err.count("\n") == 1


def test_the_chat_answers_piped_lines_and_ends(capsys, monkeypatch, database):  # noqa: ARG001
    """Each line is a message; the replies come out, and the end of the input is the end."""
    out = chat(capsys, monkeypatch, "hello", "yes")

    consent, welcome = out.strip().split("\n\n")
    assert "STOP" in consent
    assert "STOP" not in welcome


def test_the_chat_goes_on_where_it_ended(capsys, monkeypatch, database):  # noqa: ARG001
    """What was said yesterday is known today: nobody is asked for consent twice."""
    chat(capsys, monkeypatch, "hello", "yes")

    assert "STOP" not in chat(capsys, monkeypatch, "thanks")


def test_each_name_is_a_person_of_their_own(capsys, monkeypatch, database):  # noqa: ARG001
    """Two people at one database are not taken for one another, and letters' case does not matter."""
    chat(capsys, monkeypatch, "hello", "yes", name="Ana")

    assert "STOP" in chat(capsys, monkeypatch, "hello", name="Beto")
    assert "STOP" not in chat(capsys, monkeypatch, "thanks", name="ANA")


def test_what_was_stored_before_a_crash_is_answered_at_the_next_start(capsys, monkeypatch, database):
    """A message that was taken but not answered when the program died is answered when it starts again."""
    store = Store(database)
    store.upgrade()
    with store.work() as work:
        work.inbox.take(Incoming("console", "ana", "1", "hello", datetime(2026, 3, 1, tzinfo=UTC), "Ana"))
        work.commit()
    store.close()

    assert "STOP" in chat(capsys, monkeypatch)
