"""Keepers of one pile among themselves, each on a phone, through the real reader and database."""

import shutil
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path

import pytest

from bot.language.meaning import Meaning
from bot.language.sharing import among_keepers
from bot.language.understand import understand
from scheduler.keeping import groups_of
from scheduler.planner import plan
from scheduler.turns import agreed
from shared.care import Action
from shared.forecast import Forecast
from shared.pile import Record
from storage.outbox import OutRow
from storage.piles import PileRow, Told
from storage.work import Store
from tests.bot.conversation.test_respond import DESK, NOW, Phone, keys

ANA, BETO, LEO = "+15055550101", "+15055550102", "+15055550103"


@pytest.fixture
def store(sqlite_url: str) -> Iterator[Store]:
    """A store on an empty SQLite file; that both databases serve alike is shown in tests/storage."""
    opened = Store(sqlite_url)
    yield opened
    opened.close()


class Family:
    """Ana, Beto and Leo with one pile, each on a phone of their own, each with a name."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.ana, self.beto, self.leo = Phone(store, ANA), Phone(store, BETO), Phone(store, LEO)

    def begin(self) -> None:
        """Ana builds a pile and shares it; the others join."""
        for words in ("hi", "yes", "built it today, 3x3x3 bin, 20 buckets of leaves and 20 buckets of grass"):
            self.ana.text(words)
        (invited,) = self.ana.text("share")
        code = next(line.values["code"] for line in invited.lines if "code" in line.values)
        self.ana.text("Ana")
        for phone, name in ((self.beto, "Beto"), (self.leo, "Leo")):
            phone.at = self.ana.at
            for words in (code, "yes", name):
                phone.text(words)

    def later(self, days: float) -> None:
        """Let time go by for all of them."""
        phones = (self.ana, self.beto, self.leo)
        at = max(phone.at for phone in phones) + timedelta(days=days)
        for phone in phones:
            phone.at = at

    def told(self) -> list[Told]:
        """What holds of the pile."""
        with self.store.work(reading=True) as work:
            return work.piles.records(1)

    def turn_due(self) -> list[OutRow]:
        """The planner looks at the pile on a day on which a turn is worth while; what it puts out."""
        at = self.ana.at

        def look(row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
            return DESK.look(row, records, on)[0], (Action("turn", "cooling_food_left", gain_days=5.0),)

        with self.store.work() as work:
            work.piles.look_again(1, at)
            for phone in (self.ana, self.beto, self.leo):
                person = phone.person()
                work.people.change(person.id, last_heard_at=at - timedelta(days=2), next_look_at=None)
            work.commit()
        plan(self.store, at, look)
        self.ana.deliver()
        return self.sent_to(1) + self.sent_to(2) + self.sent_to(3)

    def sent_to(self, person_id: int) -> list[OutRow]:
        """Nudges about the pile to this keeper that were sent or wait."""
        with self.store.work(reading=True) as work:
            return [row for row in work.outbox.about(1) if row.person_id == person_id]


@pytest.fixture(scope="module")
def begun(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database in which the family has begun, to copy from."""
    path = tmp_path_factory.mktemp("family") / "begun.db"
    shutil.copy(migrated_file, path)
    store = Store(f"sqlite:///{path}")
    Family(store).begin()
    store.close()
    return path


@pytest.fixture
def family(begun: Path, tmp_path: Path) -> Iterator[Family]:
    """Three keepers of a pile that was built today."""
    shutil.copy(begun, tmp_path / "family.db")
    store = Store(f"sqlite:///{tmp_path / 'family.db'}")
    family = Family(store)
    for phone in (family.ana, family.beto, family.leo):
        phone.count = 100
    family.later(1 / 24)
    yield family
    store.close()


def test_whoever_is_invited_consents_from_their_own_phone(store: Store) -> None:
    """The code alone enrols nobody: only the yes of the phone that texts it joins the pile."""
    ana, leo = Phone(store, ANA), Phone(store, LEO)
    for words in ("hi", "yes", "built it today, 3x3x3 bin, 20 buckets of leaves and 20 buckets of grass"):
        ana.text(words)
    (invited,) = ana.text("share")
    code = next(line.values["code"] for line in invited.lines if "code" in line.values)

    assert "consent" in keys(leo.text(code))
    with store.work(reading=True) as work:
        assert [keeper.person_id for keeper in work.piles.keepers(1)] == [ana.person().id]

    assert keys(leo.text("yes"))[0] == "welcome.shared"
    with store.work(reading=True) as work:
        assert len(work.piles.keepers(1)) == 2
        assert [line.given for line in work.people.consents(leo.person().id)] == [True]


def test_a_name_is_asked_for_where_the_channel_has_none(family: Family) -> None:
    """A phone number has no name: the others need one."""
    assert [phone.person().name for phone in (family.ana, family.beto, family.leo)] == ["Ana", "Beto", "Leo"]


def test_only_one_is_asked_for_a_turn(family: Family) -> None:
    """One named person; asked again only they are asked."""
    family.later(7)

    (first,) = family.turn_due()
    family.later(6)
    again = family.turn_due()

    assert keys([first]) == ["nudge.turn", "turn_of.you"]
    assert {row.person_id for row in again} == {first.person_id}


def test_handing_over_moves_the_turn_and_tells_the_other(family: Family) -> None:
    """ "cant, ask leo": Leo is asked, in his hours, who for; Ana is not asked again."""
    family.later(7)
    family.turn_due()

    assert keys(family.ana.text("cant, ask leo")) == ["hand_over.told"]

    (asked,) = family.sent_to(3)
    assert (asked.lines[0].key, asked.lines[0].values) == ("nudge.turn.handed", {"name": "Ana"})
    family.later(2)
    family.turn_due()
    turns = [row.person_id for who in (1, 2, 3) for row in family.sent_to(who) if "turn" in keys([row])[0]]
    assert turns == [1, 3]


def test_handing_over_before_the_turn_is_due_only_settles_it(family: Family) -> None:
    """Nobody is written to before there is work; then the one named is asked."""
    family.later(2)
    family.ana.text("turned it")

    assert keys(family.ana.text("leo should do it next time")) == ["hand_over.next"]
    assert family.sent_to(3) == []

    family.later(7)
    assert [row.person_id for row in family.turn_due()] == [3]


def test_handing_over_to_no_one_in_particular_takes_the_next(family: Family) -> None:
    """The keeper who has done least of their share."""
    family.later(7)
    family.beto.text("turned it")
    family.later(7)
    family.turn_due()

    (reply,) = family.ana.text("somebody else please")

    assert (reply.lines[0].key, reply.lines[0].values["name"]) == ("hand_over.told", "Leo")


def test_a_stranger_cannot_be_handed_a_turn(family: Family) -> None:
    """A name that is no keeper's is said to be unknown, and nothing moves."""
    family.later(7)
    family.turn_due()

    assert keys(family.ana.text("swap turns with Julia")) == ["hand_over.unknown"]
    assert family.sent_to(3) == []


def test_who_is_away_cannot_be_handed_a_turn(family: Family) -> None:
    """An absence is respected by name as well."""
    family.leo.text("away until July 10")
    family.later(7)
    family.turn_due()

    assert keys(family.ana.text("cant, ask leo")) == ["hand_over.cannot"]


def test_a_claim_frees_whoever_was_asked(family: Family) -> None:
    """Beto does it: Ana hears that she need not, in her hours."""
    family.later(7)
    family.turn_due()

    assert keys(family.beto.text("i'll turn it")) == ["claimed"]

    taken = family.sent_to(1)[-1]
    assert (taken.lines[0].key, taken.lines[0].values) == ("nudge.taken", {"name": "Beto"})


def test_two_reports_of_one_turning_are_one_credited_to_both(family: Family) -> None:
    """Ana and Leo, twelve minutes apart: one turn; the tally counts it for each."""
    family.later(3)
    family.ana.text("turned it")
    family.leo.at = family.ana.at + timedelta(minutes=12)

    assert keys(family.leo.text("i turned it too"))[:2] == ["read", "one_turn"]
    assert keys(family.beto.text("who turned it?")) == ["who_did.two"]
    (reply,) = family.beto.text("tally")
    counts = {
        fact["values"].get("name", "you"): fact["values"]["n"] for fact in reply.lines[0].values["facts"]
    }
    assert counts == {"Ana": 1, "Leo": 1, "you": 0}


def test_an_undo_takes_back_only_ones_own_report(family: Family) -> None:
    """Leo was wrong: the turning stays, Ana's alone."""
    family.later(3)
    family.ana.text("turned it")
    family.leo.at = family.ana.at
    family.leo.text("turned it")
    family.leo.text("undo")

    assert [one.said_by for one in family.told() if one.record.kind == "turned"] == [1]


@pytest.mark.parametrize(
    ("words", "by"),
    [
        ("leo turned it", (3,)),
        ("Leo: turned", (3,)),
        ("leo and i turned it", (3, 1)),
        ("turned it with beto", (2, 1)),
        ("turned it", ()),
    ],
)
def test_work_is_credited_to_who_did_it(family: Family, words: str, by: tuple[int, ...]) -> None:
    """Whoever tells it: by name, together, or on a shared phone."""
    family.later(3)
    family.ana.text(words)

    assert [one.by for one in family.told() if one.record.kind == "turned"] == [by]


def test_somebody_without_a_phone_is_credited_by_name(family: Family) -> None:
    """ "Marta: turned" on Ana's phone: Marta is in the tally, and nothing is ever sent to her alone."""
    family.later(3)
    family.ana.text("Marta: turned it and watered it")
    family.later(7)
    family.ana.text("Marta: turned it")

    with family.store.work(reading=True) as work:
        group = groups_of(work, [1])[1]
    marta = group.members[-1]
    assert (marta.name, marta.through_id, marta.address) == ("Marta", 1, "")
    assert len(group.members) == 4
    assert [one.by for one in group.told] == [(marta.id,)] * 3


def test_a_turn_of_somebody_without_a_phone_goes_to_the_phone_they_use(family: Family) -> None:
    """Ana's phone is told that this one is for Marta."""
    family.ana.text("Marta: watered it")
    for phone in (family.ana, family.beto, family.leo):
        family.later(7)
        phone.text("turned it")
    family.later(11)

    (asked,) = family.turn_due()

    assert asked.person_id == 1
    assert (asked.lines[1].key, asked.lines[1].values) == ("turn_of", {"name": "Marta"})


def test_forgetting_a_phone_forgets_who_spoke_through_it(family: Family) -> None:
    """A name that only Ana's phone has told goes with her."""
    family.later(3)
    family.ana.text("Marta: turned it")
    family.ana.text("forget me")
    family.ana.text("yes")

    with family.store.work(reading=True) as work:
        assert [member.name for member in groups_of(work, [1])[1].members] == ["Beto", "Leo"]
        assert work.people.get(4).name is None


def test_a_tool_is_with_whom_it_was_last_given(family: Family) -> None:
    """An old entry says how old it is; a tool put back is nobody's."""
    assert keys(family.ana.text("who has the fork")) == ["who_has_tool"]
    assert keys(family.ana.text("leo has the fork")) == ["tool.noted"]
    assert keys(family.beto.text("who has the fork?"))[0] == "tool.with"

    family.later(9)
    (reply,) = family.beto.text("who has the fork?")
    assert (reply.lines[0].key, reply.lines[0].values["days_ago"]) == ("tool.with.old", 9)

    family.leo.text("put the fork back in the shed")
    assert keys(family.beto.text("who has the fork?")) == ["tool.put_back"]


def test_whoever_has_the_tool_is_asked_on_request(family: Family) -> None:
    """ "Who has the fork?" offers to ask Leo; his answer by one digit goes back to whoever asked."""
    family.leo.text("i have the fork")
    family.later(4)

    assert keys(family.ana.text("who has the fork?")) == ["tool.with.old", "tool.ask"]
    assert keys(family.ana.text("1")) == ["tool.asking"]
    (asked,) = family.sent_to(3)
    assert (asked.lines[0].key, asked.lines[0].values["name"]) == ("nudge.tool", "Ana")
    family.ana.deliver()
    assert keys(family.leo.text("1")) == ["tool.noted_you", "tool.telling"]

    (told,) = family.sent_to(1)
    assert (told.lines[0].key, told.lines[0].values["name"]) == ("nudge.tool_here", "Leo")
    assert told.reason["why"] == "tool_here"
    assert told.due_at - family.leo.at < timedelta(minutes=5)


def test_looking_for_the_fork_keeps_the_turn_open(family: Family) -> None:
    """Ana, asked to turn the pile, looks for the fork first; then "1" says that she has turned it."""
    family.leo.text("i have the fork")
    family.later(7)
    assert [row.person_id for row in family.turn_due()] == [1]

    assert keys(family.ana.text("who has the fork?")) == ["tool.with.old", "tool.ask"]
    family.ana.text("1")
    family.ana.text("1")

    assert [one.said_by for one in family.told() if one.record.kind == "turned"] == [1]


def test_a_tool_that_is_not_there_is_with_nobody(family: Family) -> None:
    """Leo was asked and does not have it: Ana hears that, and the next who asks is told that nobody knows."""
    family.leo.text("i have the fork")
    family.later(4)
    family.ana.text("who has the fork?")
    family.ana.text("yes")
    family.ana.deliver()

    assert keys(family.leo.text("no")) == ["tool.telling"]

    assert [row.lines[0].key for row in family.sent_to(1)] == ["nudge.tool_gone"]
    assert keys(family.beto.text("who has the fork?")) == ["who_has_tool"]


def test_nobody_is_asked_for_a_tool_who_did_not_wish_it(family: Family) -> None:
    """The offer declined, or no longer open to Leo, who has stopped: no message goes to him."""
    family.leo.text("i have the fork")
    family.ana.text("who has the fork?")
    family.ana.text("2")
    family.leo.text("STOP")

    assert keys(family.beto.text("who has the fork?")) == ["tool.with"]
    assert family.sent_to(3) == []


def test_a_swap_gives_the_turn_after_back(family: Family) -> None:
    """Beto swaps with Leo: this one is Leo's, the next is Beto's, though Ana has done no more than he."""
    family.later(7)
    family.beto.text("i'll turn it")

    assert keys(family.beto.text("swap with leo")) == ["hand_over.told", "swap.after"]
    family.later(1)
    family.leo.text("turned it")

    (reply,) = family.ana.text("whose turn is it?")
    assert (reply.lines[0].key, reply.lines[0].values) == ("whose_turn", {"name": "Beto"})
    family.later(4)
    family.beto.text("turned it")
    assert keys(family.ana.text("whose turn is it?")) == ["whose_turn.you"]


@pytest.mark.parametrize(
    "words",
    ["who was supposed to turn it?", "who was to turn it", "a quién le tocaba?", "quién debía voltearla"],
)
def test_who_was_to_turn_it_is_answered(family: Family, words: str) -> None:
    """By the one who was asked, without a word on what they did not do."""
    family.later(7)
    (asked,) = family.turn_due()

    (reply,) = family.beto.text(words)

    assert asked.person_id == 1
    assert (reply.lines[0].key, reply.lines[0].values["name"]) == ("whose_turn", "Ana")


def test_a_dispute_is_answered_without_blame(family: Family) -> None:
    """ "leo was supposed to turn it": whose turn is next, and the tally."""
    family.later(3)
    family.beto.text("turned it")

    assert keys(family.ana.text("leo was supposed to turn it")) == ["whose_turn.you", "tally"]


def test_the_tally_is_not_pushed(family: Family) -> None:
    """No report or nudge shows who has done how much."""
    family.later(7)
    sent = [*family.ana.text("turned it"), *family.turn_due()]

    assert "tally" not in keys(sent)


def test_others_hear_only_what_they_want(family: Family) -> None:
    """Beto asked to be told of turns, Leo did not."""
    family.beto.text("tell me when somebody turned it")
    family.later(3)
    family.ana.text("turned it")

    assert [line.key for row in family.sent_to(2) for line in row.lines] == ["nudge.news"]
    assert family.sent_to(3) == []

    family.beto.text("don't text me when others turn it")
    family.later(8)
    family.ana.text("turned it")
    assert len(family.sent_to(2)) == 1


def test_one_opt_out_silences_one_phone_only(family: Family) -> None:
    """Leo stops: he is never asked again, the others are as before."""
    family.leo.text("STOP")
    asked = set()
    for _ in range(6):
        family.later(8)
        asked |= {row.person_id for row in family.turn_due()}
        family.ana.text("turned it")

    assert 3 not in asked
    assert asked == {1, 2}


def test_shares_are_agreed_by_text(family: Family) -> None:
    """ "i do half" leaves a quarter to each of two others; nobody sets another's share."""
    assert keys(family.ana.text("i do half")) == ["share.agreed"]

    with family.store.work(reading=True) as work:
        assert agreed(groups_of(work, [1])[1]) == pytest.approx({1: 0.5, 2: 0.25, 3: 0.25})


def test_leaving_the_pile_leaves_the_others(family: Family) -> None:
    """Leo no longer keeps it; what he told stays, and he gets no turn."""
    family.later(3)
    family.leo.text("turned it")
    family.later(7)

    assert keys(family.leo.text("i'm leaving the group")) == ["left"]

    assert {row.person_id for row in family.turn_due()} <= {1, 2}
    assert [one.said_by for one in family.told() if one.record.kind == "turned"] == [3]


def read(words: str, *names: str) -> Meaning:
    """A message as its reader has it who knows the other keepers."""
    return among_keepers(understand(words, NOW.replace(tzinfo=None), "f"), words, names)


@pytest.mark.parametrize(
    ("words", "kind", "name"),
    [
        ("cant, ask leo", "hand_over", "Leo"),
        ("no puedo sabado que lo haga leo", "hand_over", "Leo"),
        ("pídele a Leo", "hand_over", "Leo"),
        ("trade turns with Leo", "hand_over", "Leo"),
        ("cambio de turno con Leo", "hand_over", "Leo"),
        ("can beto do it this time?", "hand_over", "Tío Beto"),
        ("le toca a beto", "hand_over", "Tío Beto"),
        ("lo hago yo", "claim", None),
        ("a quién le toca", "whose_turn", None),
        ("quien tiene la horquilla", "who_has_tool", None),
        ("beto tiene el bieldo", "has_tool", "Tío Beto"),
        ("yo tengo la pala", "has_tool", "me"),
        ("regresé la horquilla", "tool_back", None),
        ("yo hago la mitad", "agree_share", None),
        ("puedo una vez al mes", "limit", None),
        ("avísame cuando alguien la voltee", "news", None),
        ("solo mis turnos", "no_news", None),
    ],
)
def test_what_keepers_say_of_each_other_is_read(words: str, kind: str, name: str | None) -> None:
    """In both languages, by the names of the others."""
    (ask,) = read(words, "Leo", "Tío Beto").asks

    assert (ask.kind, ask.name) == (kind, name)


@pytest.mark.parametrize("words", ["stop", "STOP", "para", "ya no me escribas", "quit"])
def test_an_opt_out_stays_an_opt_out(words: str) -> None:
    """Nothing said among keepers weakens it."""
    assert "stop" in [ask.kind for ask in read(words, "Leo", "Ana").asks]


def test_whoever_corrects_a_report_takes_nobodys_credit(family: Family) -> None:
    """Ana mends the amount that Leo said he watered; the watering stays Leo's."""
    family.leo.text("added 3 gallons of water")
    family.later(1 / 24)

    family.ana.text("sorry it was 5 gallons of water")

    watered = next(one for one in family.told() if one.record.kind == "watered")
    assert round((watered.record.litres or 0) / 3.785) == 5
    assert watered.by == (family.leo.person().id,)
