"""What the reader makes of a message: the given samples, the banks, opt-outs, danger, and texts of no sense.

The banks were written by people who had not seen the reader. The `tuned` part served to build it; the
`held` part was scored once, at the end, and is kept to see that later changes do no harm.
"""

import json
from datetime import date, datetime, time
from pathlib import Path

import pytest

from bot.language.meaning import Ask, Meaning, Setup
from bot.language.record_form import project
from bot.language.understand import understand
from tests.bot.language.score import Score, score
from tests.bot.language.senseless import senseless, unsaid

HERE = Path(__file__).parent
BANK = HERE / "bank"
SCORES = [
    ("en_tuned.jsonl", 0.98, 0.985),
    ("en_more_tuned.jsonl", 0.95, 0.965),
    ("en_hard_tuned.jsonl", 0.97, 0.98),
    ("en_w1_tuned.jsonl", 0.97, 0.97),
    ("en_w2_tuned.jsonl", 0.98, 0.99),
    ("en_w3_tuned.jsonl", 0.94, 0.98),
    ("en_w4_tuned.jsonl", 0.92, 0.96),
    ("en_w5_tuned.jsonl", 0.91, 0.94),
    ("en_w6_tuned.jsonl", 0.91, 0.96),
    ("es_tuned.jsonl", 0.94, 0.97),
    ("es_more_tuned.jsonl", 0.93, 0.97),
    ("es_w1_tuned.jsonl", 0.98, 0.99),
    ("es_w2_tuned.jsonl", 0.98, 0.99),
    ("es_w3_tuned.jsonl", 0.96, 0.99),
    ("es_w4_tuned.jsonl", 0.97, 0.98),
    ("es_w5_tuned.jsonl", 0.97, 0.98),
    ("es_w6_tuned.jsonl", 0.97, 0.98),
]  # whole records, facts F1
HELD_BACK = [("en_held.jsonl", 0.9, 0.92), ("es_held.jsonl", 0.82, 0.9)]
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
        ("do I call someone, the pile is smoking", "smoke"),
        ("what do I do the pile is on fire", "smoke"),
        ("when I dug in smoke came out", "smoke"),
        ("I can see flames at the bottom of the pile", "smoke"),
        ("smoke from the pile but maybe just steam", "smoke"),
        ("my neighbor thinks it's smoking but it's just steam", None),
        ("can compost catch fire", None),
        ("how do I keep it from catching fire", None),
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
        ("my toddler drank the water that drips out", "swallowed"),
        ("can we eat the mushrooms on it?", "swallowed"),
        ("le salió un hongo, ¿se puede comer?", "swallowed"),
        ("mi perro se comió poquita composta", "swallowed"),
        ("i ate an apple and tossed the core in", None),
        ("la pila se tomó toda el agua", None),
        ("I feel dizzy after turning it", "breathing"),
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


def test_each_leaf_that_is_asked_about_is_asked_about() -> None:
    """Oak and walnut are recorded alike, yet only one of them may go in; the record names them once."""
    meaning = read("can i put in oak leaves, pine needles and walnut leaves")

    assert [ask.name for ask in meaning.asks] == ["oak leaves", "pine needles", "walnut leaves"]
    assert [ask["material"] for ask in project(meaning, NOW)["asks"]] == ["dry_leaves", "pine_needles"]


@pytest.mark.parametrize(
    ("text", "bare"),
    [
        ("done", "done"), ("listo", "done"), ("not yet", "not_yet"), ("todavía no", "not_yet"),
        ("yes", "yes"), ("sí", "yes"), ("nel", "no"), ("idk", "dont_know"), ("no sé", "dont_know"),
        ("ok", "ok"), ("skip", "skip"),
        ("the other one", "other_one"), ("la otra", "other_one"), ("will do", "will_do"),
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
        ("got a new phone, how do I move my pile", Ask("move")),
        ("my tomatoes turned yellow after I spread the compost", Ask("trouble", topic="plants")),
        ("when will pile 2 be ready", Ask("when_ready", pile="2")),
        ("send me the chart for the back fence pile", Ask("picture", pile="back fence")),
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


def test_a_smell_that_is_only_bad_is_marked_vague() -> None:
    """ "it stinks" is rotten for the record, and leaves open what kind of bad."""
    (vague,), (plain,) = read("it stinks").facts, read("it smells like rotten eggs").facts

    assert (vague.record.word, vague.doubt) == ("rotten", "vague")
    assert (plain.record.word, plain.doubt) == ("rotten", None)


@pytest.mark.parametrize(
    ("text", "f"),
    [
        ("reading was 33, that's Celsius", 91.4),
        ("temp 1 3 6", 136.0),
        ("108, a hundred nine? call it 109", 109.0),
        ("130, sorry, 113", 113.0),
        ("that 140 was supposed to be 104", 104.0),
        ("instructor said 140 is too hot, mine's 135", 135.0),
        ("inside 140 outside 75", 140.0),
        ("a drop overnight, 140 to 118", 118.0),
    ],
)
def test_of_several_numbers_the_one_that_holds_is_read(text: str, f: float) -> None:
    """A unit said later, digits apart, slips, other people's figures and the weather leave one reading."""
    readings = [fact["f"] for fact in project(read(text), NOW)["facts"] if fact["kind"] == "temperature"]

    assert readings == [f]


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("my wife turned it. yesterday that was", ["2026-08-10"]),
        ("turned it sunday. added leaves", ["2026-08-09", "2026-08-09"]),
        ("turned it Thursday... I mean Wednesday", ["2026-08-05"]),
        ("hosed it at dusk last night", ["2026-08-10"]),
        ("turned it on labor day", ["2025-09-01"]),
        ("dry since Sunday", ["2026-08-11"]),
        ("Sun: turned it Mon: 128", ["2026-08-09", "2026-08-10"]),
    ],
)
def test_a_day_belongs_to_what_was_done_on_it(text: str, days: list[str]) -> None:
    """In the next sentence, carried on, set right, of a part of the day, of a holiday, and as a heading.

    Labor Day is the first Monday of September (5 U.S.C. 6103).
    """
    assert [fact.record.on.isoformat() for fact in read(text).facts] == days


@pytest.mark.parametrize(
    ("text", "records"),
    [
        ("South pile 48 inches, north pile 36",
         [("height", 122, "south"), ("height", 91, "north")]),
        ("Port pile 131, starboard pile 98",
         [("temperature", 131.0, "port"), ("temperature", 98.0, "starboard")]),
        ("1) temp 124 2) height 28 inches", [("temperature", 124.0, None), ("height", 71, None)]),
        ("never hit 140, tops out at 128", [("temperature", 128.0, None)]),
        ("32 inches, and the probe says 115", [("height", 81, None), ("temperature", 115.0, None)]),
        ("i got 100 on my spelling test, 98 Elm St", []),
        ("West pile 51 C, east pile 124 F",
         [("temperature", 123.8, "west"), ("temperature", 124.0, "east")]),
    ],
)  # fmt: skip
def test_a_bare_number_has_the_measure_and_the_pile_beside_it(
    text: str, records: list[tuple[str, float, str | None]]
) -> None:
    """Lengths without their unit, piles named at the head of a clause; lists, marks and houses are none."""
    found = project(read(text), NOW)["facts"]

    assert [(fact["kind"], fact.get("f", fact.get("cm")), fact.get("pile")) for fact in found] == records


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("yesterday my husband give 10 liter water", ["watered"]),
        ("covrd it with a tarpp", ["covered"]),
        ("soking wet, water poring out", ["moisture"]),
        ("CANT STOP THE DANG ANTS", ["pests"]),
        ("popped the lid back on", ["covered"]),
        ("a wisp of smoke", ["smoke"]),
        ("we had a bonfire last night", []),
        ("I can still see whole leaves exactly how they went in", ["texture"]),
    ],
)
def test_slips_and_turns_of_speech_change_nothing_of_what_is_told(text: str, kinds: list[str]) -> None:
    """Learners' tenses, missing vowels and shouting are read; frequent words are no typos of ours."""
    assert [fact.record.kind for fact in read(text).facts] == kinds


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("135, 141, 138: that's Monday, Wednesday and today", ["2026-08-10", "2026-08-05", "2026-08-11"]),
        ("didn't turn it Monday or Sunday", ["2026-08-10", "2026-08-09"]),
        ("Turned it, 137. Remind me Sunday", ["2026-08-11", "2026-08-11"]),
        ("Yesterday's reading: 129. Today's reading: 131.", ["2026-08-10", "2026-08-11"]),
        ("turned on the 2nd and the 22nd of July", ["2026-08-02", "2026-07-22"]),
    ],
)
def test_each_of_several_days_has_its_own(text: str, days: list[str]) -> None:
    """Days in a row go with readings in a row; the day of a reminder dates nothing that was done."""
    assert [fact.record.on.isoformat() for fact in read(text).facts] == days


@pytest.mark.parametrize("text", ["quit texitng me", "unsubscirbe", "please stop sendnig me these", "CANCLE"])
def test_an_opt_out_with_a_typo_is_one(text: str) -> None:
    """A slip in one of the longer words of an opt-out does not keep anybody on the list."""
    assert Ask("stop") in read(text).asks


TYPED = {
    "in small letters": str.lower,
    "on lines of their own": lambda text: text.replace(". ", "\n"),
    "without apostrophes": lambda text: text.replace("'", "").replace("’", ""),
}


@pytest.mark.parametrize("how", TYPED)
def test_how_a_message_is_typed_changes_nothing(how: str) -> None:
    """Every given sample gives its record in small letters, on separate lines and without apostrophes too."""
    changed = []
    for line in map(json.loads, (HERE / "sample.jsonl").read_text(encoding="utf-8").splitlines()):
        now = datetime.fromisoformat(line["now"])
        records = [
            project(understand(text, now, line["units"]), now)
            for text in (line["text"], TYPED[how](line["text"]))
        ]
        changed += [line["id"]] if records[0] != records[1] else []

    assert changed == []


def test_no_text_can_break_the_reader() -> None:
    """Markup, control characters, other scripts and 10,000 characters give a record like any other."""
    for seed in range(600):
        text = senseless(seed)
        meaning = read(text)
        record = project(meaning, NOW)

        assert record["language"] in ("en", "es")
        assert unsaid(text, meaning) == [], text
        json.dumps(record)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("about 3 weeks ago", "2026-07-21"),
        ("3 weeks old", "2026-07-21"),
        ("hace dos meses", "2026-06-11"),
        ("in May", "2026-05-15"),
        ("en noviembre", "2025-11-15"),
        ("been throwing scraps in since january", "2026-01-15"),
        ("saturday", "2026-08-08"),
        ("130", None),
        ("turned it monday, 128 on tuesday", None),
    ],
)
def test_the_one_day_that_a_message_names_answers_when_it_was(text: str, day: str | None) -> None:
    """ "When did you build it?" is answered by a day, an age or a month alone; two days answer nothing."""
    named = understand(text, NOW, "f").on

    assert (named and named.isoformat()) == day


@pytest.mark.parametrize(
    ("text", "units"),
    [
        ("58c core 31 edge", "c"),
        ("un metro por lado, hojas y pasto", "c"),
        ("3 ft each way", "f"),
        ("le eche 20 litros de agua", "c"),
        ("its 95 F outside, the pile is at 60 C", "c"),
        ("130 and dry", None),
    ],
)
def test_a_message_tells_the_measures_that_it_is_written_in(text: str, units: str | None) -> None:
    """Celsius and metres, or Fahrenheit and feet; a bare number tells neither."""
    assert understand(text, NOW, "f").units == units
