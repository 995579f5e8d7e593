"""What one message leads to: pure, from a meaning, what is known, and the moment."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from bot.conversation.decide import Codes, decide
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask, Fact, Meaning, Setup
from bot.profile import Profile, Staff
from shared import hygiene
from shared.care import Action
from shared.forecast import DateRange, Forecast, Habit, Range
from shared.pile import Record
from storage.classes import ClassRow
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.piles import PileRow, Told

NOW = datetime(2026, 5, 20, 18, 0)
TODAY = NOW.date()
BUILT = date(2026, 5, 1)
PROFILE = Profile(programme="Larkmoor Compost", staff=Staff(alerts=("telegram:900",)))
ANA = Person(1, "Ana", "en", "f", "America/Denver", "joined", "sms", "+15055550101", thermometer=True)
SETUP: dict[str, Any] = {
    "built": BUILT.isoformat(),
    "length_m": 1.0,
    "width_m": 1.0,
    "height_m": 1.0,
    "ingredients": [["dry_leaves", 600.0], ["grass_clippings", 600.0]],
    "fed": False,
    "assumed": [],
}


def outlook(**changed: Any) -> Forecast:
    """A pile that is hot and on its way."""
    plain = {name: Range(0.4, 0.5, 0.6) for name in ("moisture", "free_air", "fast_left", "moderate_left")}
    values: dict[str, Any] = {
        "pile_id": "1", "as_of": TODAY, "stage": "hot", "air_c": 15.0, "core_c": Range(50.0, 54.0, 58.0),
        "ready": DateRange(date(2026, 7, 10), date(2026, 7, 25), date(2026, 8, 20)), **plain,
        "trend_c_per_day": -1.0, "mix_c_n": 30.0, "mix_moisture": 0.55,
        "credit": replace(hygiene.credit([], []), hours_over_55c=40.0),
        "harvest_litres": Range(150.0, 200.0, 250.0), "bottom_litres": 0.0,
        "turn_gain_days": 3.0, "water_gain_days": 0.0, "water_litres": 0.0, "turn_due": None,
        "water_due": None, "days": (), "habit": Habit(7.0, None), "moved": (), "assumed": (),
    }  # fmt: skip
    return Forecast(**values | changed)


def known(person: Person = ANA, *piles: KnownPile, forecast: Forecast | None = None, **do: Any) -> Known:
    """What stands before the message; care says to wait until Saturday unless told otherwise."""
    action = Action(**{"do": "wait", "why": "on_track", "on": date(2026, 5, 23)} | do)
    look = lambda *_: (forecast or outlook(), (action,))  # noqa: E731
    return Known(person, PROFILE, NOW, piles, look)


def pile(number: int = 1, name: str | None = None, *told: Told) -> KnownPile:
    """A pile that Ana keeps."""
    row = PileRow(number, name, "America/Denver", 1, SETUP, datetime(2026, 5, 1, tzinfo=UTC), number=number)
    return KnownPile(row, told)


def told(id: int, record: Record, minute: int = 0) -> Told:
    """A record of Ana's."""
    return Told(id, record, 1, datetime(2026, 5, 19, 12, minute, tzinfo=UTC))


def reading(core_c: float, on: date = TODAY, **more: Any) -> Fact:
    """A temperature that the message reports."""
    return Fact(Record("temperature", on, core_c=core_c), **more)


def said(outcome: Outcome) -> list[str]:
    """The keys of the reply."""
    return [line.key for line in outcome.lines]


def hear(
    before: Known, *facts: Fact, asks: tuple[Ask, ...] = (), codes: Codes | None = None, **more: Any
) -> Outcome:
    """Decide on a message."""
    return decide(before, Meaning("en", facts, asks, **more), codes or Codes())


def test_a_report_is_recorded_and_answered_with_facts_one_action_and_the_range() -> None:
    """Facts as read first, then the next step, then the done date, which was not told before."""
    outcome = hear(known(ANA, pile()), reading(53.3), Fact(Record("moisture", TODAY, word="right")))

    assert said(outcome) == ["read", "do.wait.on", "range.rough"]
    assert [(pile_id, record.kind) for pile_id, record, _ in outcome.records] == [
        (1, "temperature"),
        (1, "moisture"),
    ]


def test_the_range_is_told_again_only_when_it_moved() -> None:
    """The same range twice is one time too many."""
    same = pile()
    same = replace(same, row=replace(same.row, last_forecast={"told": ["2026-07-11", "2026-08-19"]}))

    assert said(hear(known(ANA, same), reading(53.3))) == ["read", "do.wait.on"]

    far = replace(same, row=replace(same.row, last_forecast={"told": ["2026-06-01", "2026-07-01"]}))
    assert said(hear(known(ANA, far), reading(53.3)))[-1] == "range.rough.again"


@pytest.mark.parametrize(
    ("fact", "meaning"),
    [
        (Fact(Record("temperature", TODAY, core_c=77.5)), {}),
        (Fact(Record("smoke", TODAY)), {"danger": "smoke"}),
    ],
)
def test_a_danger_is_answered_alone_and_told_to_the_staff(fact: Fact, meaning: dict[str, Any]) -> None:
    """From 77 °C or with smoke nothing but the safety line is said; the record is kept."""
    outcome = hear(known(ANA, pile()), fact, asks=(Ask("what_next"),), **meaning)

    assert [key for key in said(outcome) if key != "read"] == ["danger.stay_back", "told_staff"]
    assert [line.key for line in outcome.alerts] == ["alert.smoke"]
    assert [record.kind for _, record, _ in outcome.records] == [fact.record.kind]


@pytest.mark.parametrize("danger", ["injury", "breathing", "swallowed", "self_harm", "threat", "animal"])
def test_other_dangers_get_one_fixed_answer_and_no_pile_advice(danger: Any) -> None:
    """Emergency or crisis line first; a human is told."""
    outcome = hear(known(ANA, pile()), danger=danger)

    assert said(outcome) == [f"danger.{danger}", "told_staff"]
    assert [line.key for line in outcome.alerts] == [f"alert.{danger}"]


def test_an_opt_out_is_confirmed_once() -> None:
    """STOP stops at once; a second STOP is met with silence."""
    outcome = hear(known(ANA, pile()), asks=(Ask("stop"),))
    again = hear(known(replace(ANA, standing="stopped"), pile()), asks=(Ask("stop"),))

    assert (outcome.consent, outcome.confirmation, said(outcome)) == (False, True, ["stopped"])
    assert (again.consent, said(again)) == (None, [])


def test_after_an_opt_out_only_start_join_and_help_are_answered() -> None:
    """A report meets silence, START brings the person and the pile back."""
    out = replace(ANA, standing="stopped")

    assert said(hear(known(out, pile()), reading(50.0))) == []
    assert said(hear(known(out, pile()), asks=(Ask("help"),)))[0] == "help"
    back = hear(known(out, pile()), asks=(Ask("start"),))
    assert (back.consent, said(back)[0]) == (True, "welcome_back")


def test_a_stranger_is_asked_for_consent_and_nothing_is_recorded() -> None:
    """Whatever a first message says, first comes who we are and the question."""
    outcome = hear(known(replace(ANA, standing="asked")), reading(50.0))

    assert said(outcome) == ["consent"]
    assert outcome.records == []
    assert outcome.options == ("agree", "disagree")


def test_a_class_code_sets_language_and_zone_and_a_yes_beside_it_counts() -> None:
    """ "FIG22 yes" is consent with the class noted."""
    taught = Codes(taught=ClassRow("FIG22", "es", "America/Phoenix"))
    outcome = hear(known(replace(ANA, standing="asked")), codes=taught, bare="yes")

    assert outcome.consent is True
    assert outcome.class_code == "FIG22"
    assert outcome.changes == {"language": "es", "zone": "America/Phoenix"}


def test_an_unknown_code_is_named_and_changes_nothing() -> None:
    """One clear line, and the way on without a code."""
    outcome = hear(known(replace(ANA, standing="asked")), codes=Codes(unknown="FIG99"))

    assert said(outcome) == ["code.unknown", "consent"]
    assert outcome.lines[0].values == {"code": "FIG99"}
    assert outcome.class_code is None


def test_a_pile_stands_after_one_message_of_rough_facts() -> None:
    """What was not said is assumed and said; one question follows."""
    facts = (
        Fact(Record("built", date(2026, 5, 16))),
        Fact(Record("added", date(2026, 5, 16), material="dry_leaves", litres=300.0)),
        Fact(Record("added", date(2026, 5, 16), material="grass_clippings")),
    )
    outcome = hear(known(ANA), *facts, setup=Setup(length_m=1.0, width_m=1.0, height_m=1.0))

    assert outcome.new_pile
    assert outcome.set_up[0]["built"] == "2026-05-16"
    leaves, grass = outcome.set_up[0]["ingredients"]
    assert leaves == ["dry_leaves", 300.0]
    assert grass[1] > 500
    assert said(outcome)[0] == "pile.stands"
    assert outcome.options == ("at_once", "as_i_go")


def test_nothing_known_of_the_pile_is_a_good_answer() -> None:
    """ "Don't know" is met by one question, for the day; and that may stay unknown too."""
    roughly = hear(known(replace(ANA, waiting_for={"ask": "pile_facts"})), bare="dont_know")
    outcome = hear(known(replace(ANA, waiting_for={"ask": "built"})), bare="dont_know")

    assert said(roughly) == ["ask.built"]
    assert outcome.new_pile
    assert set(outcome.set_up[0]["assumed"]) == {"built", "size", "ingredients", "fed"}


def test_a_set_up_is_changed_by_just_saying_it() -> None:
    """ "It is 4 feet each way" replaces the assumption and nothing else."""
    assumed = pile()
    assumed = replace(assumed, row=replace(assumed.row, setup={**SETUP, "assumed": ["size", "fed"]}))
    outcome = hear(known(ANA, assumed), setup=Setup(length_m=1.2, width_m=1.2, height_m=1.2))

    assert outcome.set_up[1]["length_m"] == 1.2
    assert outcome.set_up[1]["assumed"] == ["fed"]


@pytest.mark.parametrize(
    ("fact", "key"),
    [
        (reading(482.0, doubt="impossible"), "doubt.impossible"),
        (reading(-10.6, doubt="digits"), "doubt.which"),
        (reading(50.0, on=date(2026, 5, 22)), "doubt.future"),
        (reading(50.0, on=date(2026, 4, 20)), "doubt.before"),
    ],
)
def test_what_cannot_be_is_asked_about_and_not_recorded(fact: Fact, key: str) -> None:
    """900 degrees, two digits missing, a day to come, a day before the build."""
    outcome = hear(known(ANA, pile()), fact)

    assert said(outcome) == [key]
    assert outcome.records == []


def test_a_doubtful_reading_is_asked_about_once() -> None:
    """The answer is taken, however odd it is."""
    before = known(replace(ANA, waiting_for={"ask": "number", "pile": 1}), pile())
    outcome = hear(before, reading(12.8))

    assert [record.core_c for _, record, _ in outcome.records] == [12.8]


def test_a_first_reading_near_the_airs_is_asked_for_its_depth() -> None:
    """A pile that should be at 54 °C and reads as the air was probably read near the surface."""
    outcome = hear(known(replace(ANA, units="c"), pile()), reading(15.5))

    assert said(outcome) == ["doubt.depth"]
    assert outcome.options == ("deep:15.5", "near_top:15.5")


def test_a_correction_replaces_the_last_reading_and_keeps_its_day() -> None:
    """ "No, I meant 113": only the value changes."""
    yesterday = told(7, Record("temperature", date(2026, 5, 19), core_c=55.6))
    outcome = hear(known(ANA, pile(1, None, yesterday)), reading(45.0), asks=(Ask("correction"),))

    ((pile_id, record, replaces),) = outcome.records
    assert (pile_id, record.core_c, record.on, replaces) == (1, 45.0, date(2026, 5, 19), 7)
    assert said(outcome)[0] == "corrected"


def test_undo_takes_back_the_last_message_whole() -> None:
    """All records of that message, and none of an earlier one."""
    records = (
        told(1, Record("turned", date(2026, 5, 18)), minute=0),
        told(2, Record("temperature", date(2026, 5, 19), core_c=50.0), minute=5),
        told(3, Record("watered", date(2026, 5, 19)), minute=5),
    )
    outcome = hear(known(ANA, pile(1, None, *records)), asks=(Ask("undo"),))

    assert outcome.undo == [(1, 2), (1, 3)]


def test_each_fact_goes_to_the_pile_that_it_names() -> None:
    """By number or by name, a slip of spelling allowed."""
    before = known(ANA, pile(1, "back fence"), pile(2))
    outcome = hear(before, reading(50.0, pile="back fense"), reading(40.0, pile="2"))

    assert [(pile_id, record.core_c) for pile_id, record, _ in outcome.records] == [(1, 50.0), (2, 40.0)]


def test_a_pile_is_asked_for_only_where_the_name_fits_none() -> None:
    """With several piles and a strange name nothing is recorded."""
    outcome = hear(known(ANA, pile(1, "back fence"), pile(2, "shed")), reading(50.0, pile="alley"))

    assert said(outcome) == ["which_pile"]
    assert outcome.records == []


def test_forgetting_is_asked_about_once_and_then_done() -> None:
    """It cannot be undone, so one plain question; the confirmation is the last message."""
    assert said(hear(known(ANA, pile()), asks=(Ask("forget_me"),))) == ["forget.sure"]

    sure = hear(known(replace(ANA, waiting_for={"ask": "forget"}), pile()), bare="yes")
    assert (sure.erase, sure.confirmation, said(sure)) == (True, True, ["forget.done"])


def test_a_photo_without_words_is_answered_honestly() -> None:
    """It cannot be judged; one small question instead."""
    outcome = decide(known(ANA, pile()), Meaning("en"), Codes(), "photo")

    assert said(outcome) == ["form.photo"]
    assert outcome.options == ("feel.dry", "feel.right", "feel.soggy")


def test_a_bare_ok_needs_no_answer() -> None:
    """Quiet is fine."""
    assert said(hear(known(ANA, pile()), bare="ok")) == []


def test_what_is_not_followed_says_so_and_keeps_the_question_open() -> None:
    """The digits are shown again; nothing is lost."""
    waiting = {"ask": "turn", "pile": 1, "options": ["turned", "not_turned"]}
    outcome = hear(known(replace(ANA, waiting_for=waiting), pile()))

    assert said(outcome) == ["did_not_follow"]
    assert outcome.options == ("turned", "not_turned")


def test_a_what_if_leaves_the_plan_as_it_is() -> None:
    """The answer compares two forecasts; nothing is recorded or changed."""
    later = outlook(ready=DateRange(date(2026, 9, 1), date(2026, 10, 1), date(2026, 12, 1)))
    before = known(ANA, pile())
    before = replace(
        before, look=lambda *given: (later if len(given) > 3 else outlook(), (Action("wait", "hot"),))
    )
    outcome = hear(before, asks=(Ask("what_if", topic="no_turn"),))

    assert said(outcome) == ["what_if.later", "what_if.no_turn_cost"]
    assert not outcome.records
    assert not outcome.set_up


def test_a_no_for_now_is_taken_without_reproach() -> None:
    """ "Not yet" is recorded, and the same work is not asked for again in the answer."""
    outcome = hear(known(ANA, pile(), do="turn", why="food_left", on=None), Fact(Record("not_turned", TODAY)))

    assert said(outcome) == ["declined"]
    assert [record.kind for _, record, _ in outcome.records] == ["not_turned"]


def test_a_pile_too_hot_to_be_left_is_turned_all_the_same() -> None:
    """At 71 °C and more "not yet" is answered by the next step."""
    before = known(ANA, pile(), do="turn", why="too_hot", on=None)

    assert said(hear(before, Fact(Record("not_turned", TODAY))))[0] == "do.turn.now"


def test_a_body_that_cannot_turn_is_told_the_slow_way() -> None:
    """From then on a turning that is due is worded as poking holes, without its reason."""
    before = known(replace(ANA, cannot_turn=True), pile(), do="turn", why="food_left", on=None)

    assert said(hear(before, asks=(Ask("what_next"),))) == ["do.poke.now"]


def test_a_smell_without_a_word_for_it_is_asked_about_by_digits() -> None:
    """The word picked later replaces the vague one, so that one smell is recorded."""
    outcome = hear(known(ANA, pile()), Fact(Record("smell", TODAY, word="rotten"), doubt="vague"))
    assert said(outcome) == ["read", "ask.smell"]
    assert outcome.options == ("smell.ammonia", "smell.rotten", "smell.sour")

    vague = told(4, Record("smell", TODAY, word="rotten"))
    again = hear(known(ANA, pile(1, None, vague)), Fact(Record("smell", TODAY, word="ammonia")))
    assert [(record.word, replaces) for _, record, replaces in again.records] == [("ammonia", 4)]


def test_a_hot_hand_on_a_dangerously_hot_pile_is_asked_about_smoke() -> None:
    """The word "hot" alone may mean fire where the last reading was 66 °C or more."""
    hot = Fact(Record("heat_feel", TODAY, word="hot"))
    near = told(1, Record("temperature", date(2026, 5, 19), core_c=67.0))

    assert said(hear(known(ANA, pile(1, None, near)), hot)) == ["read", "danger.which"]
    assert "danger.which" not in said(hear(known(ANA, pile()), hot))


def test_trouble_not_named_is_asked_for_by_digits() -> None:
    """Each digit leads to one more question at the most."""
    outcome = hear(known(ANA, pile()), asks=(Ask("trouble"),))
    assert said(outcome) == ["trouble.which"]
    assert outcome.options == tuple(
        f"trouble.{topic}" for topic in ("smell", "pests", "cold", "wet", "plants")
    )


@pytest.mark.parametrize(
    ("word", "c_n", "side_m", "key"),
    [
        ("dry", 30.0, 1.0, "trouble.cold.dry"),
        ("soggy", 30.0, 1.0, "trouble.cold.wet"),
        ("right", 30.0, 0.6, "trouble.cold.small"),
        ("right", 55.0, 1.0, "trouble.cold.brown"),
        ("right", 30.0, 1.0, "trouble.cold.turn"),
    ],
)
def test_a_cold_pile_is_mended_by_the_cheapest_cause(word: str, c_n: float, side_m: float, key: str) -> None:
    """Water before size, size before greens, and air where nothing else is missing."""
    one = pile()
    sides = dict.fromkeys(("length_m", "width_m", "height_m"), side_m)
    one = replace(one, row=replace(one.row, setup={**SETUP, **sides}))
    waiting = {"ask": "squeeze", "then": "cold", "pile": 1}
    before = known(replace(ANA, waiting_for=waiting), one, forecast=outlook(stage="stalled", mix_c_n=c_n))
    outcome = hear(before, Fact(Record("moisture", TODAY, word=word)))

    assert said(outcome)[-1] == key


def test_a_reminder_is_put_off_to_a_day_on_which_it_can_come() -> None:
    """ "Not now" and "tonight" mean tomorrow, since nothing is sent within a day of their words."""
    outcome = hear(known(ANA, pile()), asks=(Ask("later", on=TODAY),))

    assert outcome.changes["paused_until"] == TODAY + timedelta(days=1)
    assert outcome.lines[0].values["until_on"] == (TODAY + timedelta(days=1)).isoformat()


def test_no_more_is_asked_for_than_the_pile_can_take() -> None:
    """All grass in a cubic metre wants more leaves than have room: at most half its size, 26 buckets."""
    one = pile()
    one = replace(one, row=replace(one.row, setup={**SETUP, "ingredients": [["grass_clippings", 1300.0]]}))
    before = known(ANA, one, forecast=outlook(mix_c_n=15.0))

    [line] = [line for line in hear(before, asks=(Ask("mix"),)).lines if line.key == "mix.add_browns"]
    assert line.values["n"] == 26


def test_several_materials_are_answered_in_a_few_words_each() -> None:
    """Verdict and way; the reason is for whoever asks about one."""
    asks = (Ask("may_add", material="vegetable_scraps", name="onions"), Ask("may_add", material="meat"))

    assert said(hear(known(ANA, pile()), asks=asks)) == [
        "may_add.some",
        "how.chop_bury",
        "may_add.no",
        "how.trash",
    ]


def test_manure_may_go_in_now_where_the_pile_is_hot() -> None:
    """What needs heat is answered by this pile's own stage."""
    ask = Ask("may_add", material="chicken_manure")
    cool = known(ANA, pile(), forecast=outlook(stage="cooling"))

    assert said(hear(known(ANA, pile()), asks=(ask,)))[0] == "may_add.hot_now"
    assert said(hear(cool, asks=(ask,)))[0] == "may_add.not_hot"


def test_compost_with_manure_is_used_by_the_manure_clock_from_today() -> None:
    """Unproven heat: 120 and 90 days from digging in; a shown pattern still names the days, as prudence."""
    manured = pile()
    manured = replace(
        manured, row=replace(manured.row, setup={**SETUP, "ingredients": [["cow_manure", 300.0]]})
    )
    shown = replace(hygiene.credit([], []), organic=True)
    proven = known(ANA, manured, forecast=outlook(stage="ready", credit=shown))

    line = next(
        line for line in hear(known(ANA, manured), asks=(Ask("safe_use"),)).lines if line.key == "use.manure"
    )
    assert line.values["touching_on"] == (TODAY + timedelta(days=120)).isoformat()
    assert line.values["clear_on"] == (TODAY + timedelta(days=90)).isoformat()
    assert "use.manure_heated" in said(hear(proven, asks=(Ask("safe_use"),)))


def test_pots_wait_a_month_longer_than_beds() -> None:
    """Ready is fit for beds; seedlings want a month more, and nothing is said once it has passed."""
    fresh = DateRange(TODAY - timedelta(days=9), TODAY - timedelta(days=5), TODAY)
    rested = DateRange(TODAY - timedelta(days=90), TODAY - timedelta(days=60), TODAY)
    for ready, told in ((fresh, True), (rested, False)):
        before = known(ANA, pile(), forecast=outlook(stage="ready", ready=ready))
        assert ("use.pots" in said(hear(before, asks=(Ask("safe_use"),)))) is told


def test_why_gives_the_reason_of_the_nudge_only_while_it_waits() -> None:
    """Once the keeper has written, "why?" is about the step that was named last."""
    sent = datetime(2026, 5, 20, 9, tzinfo=UTC)
    nudge = OutRow(
        id=1, person_id=1, pile_id=1, kind="nudge", lines=(Line("nudge.turn", {}),), options=(), opens=None,
        reason={"why": "food_left", "days_since_turn": 9.0}, unique_key="k", due_at=sent, expires_at=None,
        status="sent", attempts=1, next_try_at=sent, holder=None, lease_until=None, channel="sms",
        address="a", channel_message_id=None, text="t", sent_at=sent, why_not=None, receipts=None,
    )  # fmt: skip
    waits = replace(known(ANA, pile()), last=nudge)
    heard = replace(waits, person=replace(ANA, last_heard_at=datetime(2026, 5, 20, 10, tzinfo=UTC)))

    assert said(hear(waits, asks=(Ask("why"),)))[0] == "why.turn.food_left"
    assert said(hear(heard, asks=(Ask("why"),)))[0] == "why.wait.on_track"


def test_the_other_one_is_the_pile_not_used_last() -> None:
    """ "The other one is 90": no question is needed."""
    used_last = pile(1, "front", told(1, Record("turned", date(2026, 5, 19))))
    outcome = hear(known(ANA, used_last, pile(2, "back")), reading(32.0, pile="other"))

    assert [(pile_id, record.core_c) for pile_id, record, _ in outcome.records] == [(2, 32.0)]


def test_something_that_should_have_stayed_out_is_said_once_and_kindly() -> None:
    """Meat in the pile: take it out again if possible, with the reason."""
    outcome = hear(known(ANA, pile()), Fact(Record("added", TODAY, material="meat")))

    assert said(outcome)[:3] == ["read", "added.no", "reason.draws_rodents"]


def test_an_emptied_bin_starts_the_next_pile_and_closes_the_last() -> None:
    """Two piles are not asked about where only one stands."""
    taken = pile(1, None, told(1, Record("harvested", date(2026, 5, 19))))
    before = known(replace(ANA, waiting_for={"ask": "built_yet"}), taken)
    outcome = hear(before, Fact(Record("built", TODAY)), setup=Setup(length_m=1.0))

    assert outcome.new_pile
    assert outcome.closes == [1]


def test_thanks_beside_a_report_needs_no_line_of_its_own() -> None:
    """One message is answered once."""
    outcome = hear(known(ANA, pile()), reading(53.3), asks=(Ask("thanks"),))

    assert "thanks" not in said(outcome)


def test_a_refusal_is_confirmed_once() -> None:
    """No to the first question: one line, and then silence."""
    before = known(replace(ANA, standing="asked", waiting_for={"ask": "consent"}))
    outcome = hear(before, bare="no")

    assert (outcome.consent, outcome.confirmation, said(outcome)) == (False, True, ["refused"])


def test_a_reading_like_the_last_one_is_not_doubted_again() -> None:
    """What was asked about once and taken stands, however odd the model finds it."""
    cool = told(1, Record("temperature", date(2026, 5, 18), core_c=16.1))
    outcome = hear(known(ANA, pile(1, None, cool)), reading(14.4))

    assert [record.core_c for _, record, _ in outcome.records] == [14.4]


def test_nothing_is_advised_while_a_reading_is_in_doubt() -> None:
    """The question stands alone; the digit brings the advice."""
    outcome = hear(known(ANA, pile()), reading(-10.6, doubt="digits"), asks=(Ask("what_next"),))

    assert said(outcome) == ["doubt.which"]


def test_a_promise_is_answered_and_not_recorded() -> None:
    """ "I'll turn it tomorrow": the question stays open until it is done."""
    waiting = {"ask": "turn", "pile": 1, "options": ["turned", "not_turned"]}
    outcome = hear(known(replace(ANA, waiting_for=waiting), pile()), bare="will_do")

    assert said(outcome) == ["will_do"]
    assert (outcome.records, outcome.opens) == ([], None)


def test_a_new_phone_is_told_how_the_pile_comes_along() -> None:
    """By the sharing code from the old phone; nothing is moved on a word alone."""
    outcome = hear(known(replace(ANA, standing="asked")), asks=(Ask("move"),))

    assert said(outcome) == ["move.how"]
    assert outcome.joins_pile is None


def test_who_speaks_of_the_pile_is_no_stranger() -> None:
    """A wrong number is unlinked at once; "what's wrong with it?" is a question about the pile."""
    assert hear(known(ANA, pile()), danger="wrong_person").consent is False

    asks = hear(known(ANA, pile()), asks=(Ask("trouble"),), danger="wrong_person")
    assert (asks.consent, said(asks)) == (None, ["trouble.which"])
