"""What the reader makes of a message: the given samples, the banks, opt-outs, danger, and texts of no sense.

The banks were written by people who had not seen the reader. The `tuned` part served to build it; the
`held` part was scored once, at the end, and is kept to see that later changes do no harm.
"""

import json
from datetime import date, datetime, time
from pathlib import Path

import pytest

from bot.language.meaning import Ask, Meaning, Setup
from bot.language.understand import project, understand
from tests.bot.language.score import Score, score
from tests.bot.language.senseless import senseless, unsaid

HERE = Path(__file__).parent
BANK = HERE / "bank"
SCORES = [
    ("en_tuned.jsonl", 0.98, 0.985),
    ("en_more_tuned.jsonl", 0.9, 0.92),
    ("es_tuned.jsonl", 0.92, 0.95),
    ("es_more_tuned.jsonl", 0.88, 0.93),
]  # whole records, facts F1
HELD_BACK = [("en_held.jsonl", 0.86, 0.87), ("es_held.jsonl", 0.82, 0.9)]
"""Never tuned on: the honest number. Written by a hand of their own; score them, and do not read them."""
NOW = datetime(2026, 8, 11, 12, 0)  # a Tuesday


def read(text: str, units: str = "f") -> Meaning:
    return understand(text, NOW, units)  # type: ignore[arg-type]


def lines(name: str) -> list[str]:
    return (BANK / name).read_text(encoding="utf-8").splitlines()


def test_every_given_sample_is_read_whole() -> None:
    """All 90 sample messages give exactly the record that goes with them."""
    result = score([HERE / "sample.jsonl"])

    assert [line["id"] for line, _ in result.misses] == []


@pytest.mark.parametrize(("name", "accuracy", "f1"), [*SCORES, *HELD_BACK])
def test_a_bank_is_read_no_worse_than_before(name: str, accuracy: float, f1: float) -> None:
    """Whole records right and F1 over facts stay at what was reached; no opt-out is missed or made up."""
    result: Score = score([BANK / name])

    assert result.accuracy >= accuracy
    assert result.f1 >= f1
    assert (result.stop_missed, result.stop_false, result.smoke_missed) == ([], [], [])


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_way_to_say_stop_is_an_opt_out(language: str) -> None:
    """Opt-outs count by meaning, in any wording a reasonable person would take so (FCC 24-24)."""
    missed = [text for text in lines(f"stop_{language}.txt") if Ask("stop") not in read(text).asks]

    assert missed == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_look_alike_is_no_opt_out(language: str) -> None:
    """ "stop turning?", "stop by the office", "se paró" end nothing."""
    taken = [text for text in lines(f"lookalike_{language}.txt") if Ask("stop") in read(text).asks]

    assert taken == []


@pytest.mark.parametrize(
    ("text", "danger"),
    [
        ("help its smoking", "smoke"),
        ("esta saliendo humo del monton y huele a quemado", "smoke"),
        ("it smells burnt", "smoke"),
        ("🔥🔥🔥", "maybe_smoke"),
        ("its steaming like my mother in law", None),
        ("i quit smoking, but the pile hasnt lol its at 131", None),
        ("white ash-like stuff all through it", None),
        ("a snake bit me", "injury"),
        ("me picó un alacrán", "injury"),
        ("I got stung by a bee and can't breathe", "breathing"),
        ("no puedo respirar", "breathing"),
        ("I want to kill myself", "self_harm"),
        ("ya no quiero vivir", "self_harm"),
        ("theres a SNAKE in it", "animal"),
        ("hay una víbora en la pila", "animal"),
        ("who is this??", "wrong_person"),
        ("número equivocado", "wrong_person"),
        ("bit by bit, in the sun", None),
        ("I don't have a pile yet", None),
    ],
)
def test_danger_is_told_from_what_only_sounds_like_it(text: str, danger: str | None) -> None:
    """Smoke, injury, breath, self-harm, animals and strangers are seen; steam, jokes and ash are none."""
    assert read(text).danger == danger


@pytest.mark.parametrize(
    ("text", "bare"),
    [
        ("done", "done"), ("listo", "done"), ("not yet", "not_yet"), ("todavía no", "not_yet"),
        ("yes", "yes"), ("sí", "yes"), ("nel", "no"), ("idk", "dont_know"), ("no sé", "dont_know"),
        ("ok", "ok"), ("skip", "skip"),
        ("the other one", "other_one"), ("la otra", "other_one"),
    ],
)  # fmt: skip
def test_a_bare_answer_is_left_to_the_conversation(text: str, bare: str) -> None:
    """A short answer is given as such, without facts of its own."""
    meaning = read(text)

    assert (meaning.bare, meaning.facts) == (bare, ())


@pytest.mark.parametrize(
    ("text", "units", "f", "doubt"),
    [
        ("135", "f", 135.0, None),
        ("13", "f", 13.0, "digits"),
        ("55", "f", 55.0, "unit"),
        ("55", "c", 131.0, None),
        ("131", "c", 131.0, None),
        ("58c", "f", 136.4, None),
        ("900 degrees", "f", 900.0, "impossible"),
        ("temperature is one for tea", "f", 140.0, "heard"),
    ],
)
def test_a_reading_is_doubted_where_it_may_be_another(
    text: str, units: str, f: float, doubt: str | None
) -> None:
    """Dropped digits, the other scale, slips of dictation and what cannot be are marked, never mended."""
    fact = read(text, units).facts[0]

    assert fact.record.core_c == pytest.approx((f - 32) / 1.8)
    assert fact.doubt == doubt


def test_an_impossible_reading_is_not_printed() -> None:
    """900 degrees is kept for a question back and left out of the record."""
    assert project(read("900 degrees"), NOW)["facts"] == []


def test_a_reading_at_the_edge_gives_way_to_the_core() -> None:
    """ "58c core 31 edge" prints the core alone; the edge is kept and marked."""
    meaning = read("58c core 31 edge", "c")

    assert [fact.record.edge for fact in meaning.facts] == [False, True]
    assert [fact["f"] for fact in project(meaning, NOW)["facts"]] == [136.4]


@pytest.mark.parametrize("text", ["2", "7", "👍", "", "?!", "   "])
def test_a_digit_or_a_sign_alone_is_no_reading(text: str) -> None:
    """A bare digit answers a question of ours and records nothing."""
    assert read(text).facts == ()


def test_the_name_before_a_colon_is_the_speaker() -> None:
    """ "Ana: turned" is Ana's word on a shared phone; "Pile 1:" names no person."""
    assert read("Ana: turned it").speaker == "Ana"
    assert read("Today: 135").speaker is None


@pytest.mark.parametrize(
    ("text", "setup"),
    [
        ("3x3x3", Setup(length_m=0.9144, width_m=0.9144, height_m=0.9144)),
        ("un metro por un metro por metro y medio", Setup(length_m=1.0, width_m=1.0, height_m=1.5)),
        ("about a cubic yard", Setup(volume_m3=0.764554857984)),
        ("in a bin, filled all at once, half shade, no thermometer",
         Setup(bin=True, fed=False, shade="part", thermometer=False)),
        ("en una compostera, poco a poco, a la sombra", Setup(bin=True, fed=True, shade="shade")),
        ("I don't have a pile yet", Setup(has_pile=False)),
    ],
)  # fmt: skip
def test_the_make_of_a_pile_is_read(text: str, setup: Setup) -> None:
    """Size, bin, way of filling, shade and thermometer; 1 yd³ is 0.7646 m³ (NIST Handbook 44, appendix C)."""
    found = read(text).setup

    assert found is not None
    for name in Setup.__slots__:
        wanted = getattr(setup, name)
        assert getattr(found, name) == (
            pytest.approx(wanted, rel=1e-3) if isinstance(wanted, float) else wanted
        )


@pytest.mark.parametrize(
    ("text", "ask"),
    [
        ("why?", Ask("why")),
        ("how do i measure the temperature", Ask("how_measure")),
        ("cómo la volteo?", Ask("how_turn")),
        ("how do I start a pile", Ask("how_build")),
        ("what if i just ignore it", Ask("what_if", topic="no_turn")),
        ("what if I stop watering", Ask("what_if", topic="no_water")),
        ("use celsius", Ask("units", units="c")),
        ("call it back fence", Ask("rename", name="back fence")),
        ("who turned it last", Ask("who_did")),
        ("who has the fork", Ask("who_has_tool", name="fork")),
        ("only text me about water", Ask("only_about", topic="water")),
        ("stop sending at 6am", Ask("not_before", at=time(6))),
        ("cancel the bin order pls", Ask("to_staff")),
        ("are you a robot? who reads this", Ask("privacy")),
        ("going to see my sister til the 20th", Ask("pause", on=date(2026, 8, 20))),
    ],
)
def test_what_goes_beyond_the_record_is_asked_for_too(text: str, ask: Ask) -> None:
    """Questions of why, how and who, what-ifs, names, units and limits are understood, whatever else is."""
    assert ask in read(text).asks


def test_no_text_can_break_the_reader() -> None:
    """Markup, control characters, other scripts and 10,000 characters give a record like any other."""
    for seed in range(600):
        text = senseless(seed)
        meaning = read(text)
        record = project(meaning, NOW)

        assert record["language"] in ("en", "es")
        assert unsaid(text, meaning) == [], text
        json.dumps(record)
