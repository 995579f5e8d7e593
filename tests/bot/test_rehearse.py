"""A scripted season, read and played on a simulated clock."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bot.app import rehearse
from bot.profile import Profile
from bot.rehearse import read_script
from shared.errors import BadInput

COASTAL = Path(__file__).parent / "coastal.toml"
SEASON = """\
# a season in a few lines
person ines zone=America/Denver language=en channel=sms units=f
class FIG22 language=en zone=America/Denver seats=30

2026-04-01 09:00 ines: FIG22
2026-04-01 09:01 ines: yes
2026-04-01 09:02 ines: built it today, 3x3x3 ft, 10 buckets of leaves, 8 buckets of grass, all at once
2026-04-04 18:00 ines: temp 128, looks dry      # what she saw
until 2026-04-30
"""


@pytest.fixture(autouse=True)
def default_profile(monkeypatch, tmp_path):
    """Play with the stated defaults, whatever the machine's own settings are."""
    monkeypatch.delenv("WARMHEAP_PROFILE", raising=False)
    monkeypatch.chdir(tmp_path)


def play(script: str) -> list[dict[str, str]]:
    return [json.loads(message.as_json()) for message in rehearse(script, "season.txt")]


def test_a_script_is_read_with_each_persons_own_clock():
    """A line's time is local to who says it; people without a zone live in the programme's."""
    script = read_script(
        "person ana zone=America/New_York\n2026-03-01 09:00 beto: hola\n2026-03-01 09:00 ana: hello",
        "x",
        Profile(zone="America/Denver"),
    )

    assert [(said.who, said.at) for said in script.said] == [
        ("ana", datetime(2026, 3, 1, 14, tzinfo=UTC)),
        ("beto", datetime(2026, 3, 1, 16, tzinfo=UTC)),
    ]


def test_comments_go_and_pile_numbers_stay():
    """`#` at the start of a line or between spaces starts a comment; "pile #3" is a pile."""
    script = read_script("# head\n2026-03-01 09:00 ana: pile #3 is 120 # she is proud", "x", Profile())

    assert [said.text for said in script.said] == ["pile #3 is 120"]


def test_until_runs_to_the_end_of_that_day():
    """The last day is whole, by the clock of whoever speaks first."""
    script = read_script("2026-03-01 09:00 ana: hi\nuntil 2026-03-31", "x", Profile(zone="America/Phoenix"))

    assert script.until == datetime(2026, 4, 1, 6, 59, 59, tzinfo=UTC)


@pytest.mark.parametrize(
    ("script", "fault"),
    [
        ("2026-03-01 09:00 ana: hi\n2026-13-01 09:00 ana: hi", "line 2: month must be in 1..12"),
        ("ana says hi", "line 1: neither a head line"),
        ("person ana zone=Mars/Base", "line 1: unknown time zone 'Mars/Base'"),
        ("person ana colour=red", "line 1: 'colour=red' is no setting of a person"),
        ("person ana language=fr", "line 1: language must be one of en, es"),
        ("class FIG22 seats=many", "line 1: "),
        ("until tomorrow", "line 1: "),
        ("# nothing", "nothing is said"),
    ],
)
def test_a_line_that_cannot_be_read_is_named(script, fault):
    """A broken script is refused before it begins, with file, line and mend."""
    with pytest.raises(BadInput) as refusal:
        read_script(script, "season.txt", Profile())

    assert str(refusal.value).startswith("season.txt")
    assert fault in str(refusal.value)


def test_a_season_is_played_through_the_real_program():
    """What is said is answered at its moment, in local time, on the person's channel, with a reason."""
    transcript = play(SEASON)

    first, answer = transcript[:2]
    assert first == {
        "at": "2026-04-01T09:00-06:00",
        "from": "ines",
        "to": "warmheap",
        "channel": "sms",
        "text": "FIG22",
        "why": None,
    }
    assert (answer["from"], answer["to"], answer["at"]) == ("warmheap", "ines", "2026-04-01T09:00-06:00")
    [reading] = [m["text"] for m in transcript if m["at"].startswith("2026-04-04T18:00") and m["why"]]
    assert "128 F" in reading


def test_nudges_come_by_themselves_at_their_hour_with_their_reason():
    """After the last line the clock runs on, and what the program says unasked keeps the quiet hours."""
    unasked = [message for message in play(SEASON) if message["why"] not in (None, "asked")]

    assert unasked
    assert all("09:00" <= message["at"][11:16] < "20:00" for message in unasked)


def test_the_same_script_gives_the_same_season():
    """A rehearsal can be compared with an earlier one: nothing in it is left to chance."""
    assert play(SEASON) == play(SEASON)


def test_an_empty_season_ends_with_its_last_answer():
    """Without `until` the season is over once the last line is answered."""
    assert play(SEASON.replace("until 2026-04-30", ""))[-1]["at"] == "2026-04-04T18:00-06:00"


def test_a_person_without_settings_is_asked_as_in_life():
    """A stranger writing in Spanish is answered in Spanish, without any head line."""
    transcript = play("2026-04-01 09:00 chucho: hola, quiero empezar mi composta")

    assert transcript[1]["to"] == "chucho"
    assert "ALTO" in transcript[1]["text"]


def test_a_code_that_was_shown_can_be_used():
    """`$code` stands for the last code that the program has shown: a second person joins by it."""
    share = SEASON.replace("until 2026-04-30", "") + (
        "2026-04-05 09:00 ines: can my sister share this pile\n2026-04-05 10:00 ana: $code\n"
    )

    [said] = [message["text"] for message in play(share) if message["from"] == "ana"]

    assert len(said) == 6
    assert said.isupper()


def test_a_code_before_any_was_shown_names_its_line():
    """A script that uses `$code` too early is stopped at that line."""
    with pytest.raises(BadInput, match=r"season\.txt, line 1: \$code"):
        play("2026-04-01 09:00 ana: $code")


def test_another_profile_gives_other_advice(monkeypatch):
    """The coastal programme greets by its own name and reads temperatures in Celsius."""
    monkeypatch.setenv("WARMHEAP_PROFILE", str(COASTAL))

    transcript = play(
        "2026-04-01 09:00 luz: hola\n2026-04-01 09:01 luz: sí\n"
        "2026-04-01 09:02 luz: la hice hoy, 1x1x1 m, 10 botes de hojas, 8 botes de pasto\n"
        "2026-04-04 09:00 luz: 55 grados"
    )

    assert "Puerto Brisa" in transcript[1]["text"]
    assert "55 C" in transcript[-1]["text"]


def test_the_programmes_quiet_hours_hold_for_people_of_a_script(monkeypatch, tmp_path):
    """A programme that nudges from eleven on does so in a rehearsal too."""
    profile = tmp_path / "late.toml"
    profile.write_text("quiet_from = 19:00:00\nquiet_to = 11:00:00\n")
    monkeypatch.setenv("WARMHEAP_PROFILE", str(profile))

    unasked = [message["at"][11:16] for message in play(SEASON) if message["why"] not in (None, "asked")]

    assert unasked
    assert all("11:00" <= hour < "19:00" for hour in unasked)
