"""Staff at work from their phone, and a human who takes over from the program."""

from datetime import UTC, datetime, timedelta

import pytest

from bot.conversation.respond import Desk, respond
from bot.conversation.staff import word_of
from bot.language.wording import render
from bot.outlook import Outlooks
from bot.profile import Profile, Staff
from bot.staff.helping import write, write_down
from bot.staff.records import BLANK, Blanker
from scheduler.planner import plan
from shared.errors import BadInput
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.staff import Member
from storage.staff_models import Role
from storage.work import Store

NOW = datetime(2026, 5, 20, 18, tzinfo=UTC)
PROFILE = Profile(programme="Larkmoor Compost", staff=Staff(alerts=("sms:+15055550160",)))
DESK = Desk(PROFILE, Outlooks(PROFILE), "https://pages.example")
ANA, MAREN, BELEN = "+15055550101", "+15055550142", "+15055550143"


class Line:
    """All the phones on one line; a minute goes by with each text."""

    def __init__(self, store: Store) -> None:
        self.store, self.at, self.count, self.desk = store, NOW, 0, DESK
        self.said: dict[str, str] = {}

    def text(self, address: str, words: str) -> str:
        """Text something from a phone; what comes back to it."""
        self.count += 1
        self.at += timedelta(minutes=1)
        incoming = Incoming("sms", address, f"m{self.count}", words, self.at, form="text")
        with self.store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        assert incoming_id is not None
        respond(self.store, self.desk, incoming_id, incoming, self.at)
        self.said = self.deliver()
        return self.said.get(address, "")

    def deliver(self) -> dict[str, str]:
        """Send what is due: the last text to each phone."""
        said = {}
        with self.store.work() as work:
            while rows := work.outbox.claim(self.at, "test", timedelta(minutes=5), 10):
                for row in rows:
                    person = work.people.get(row.person_id)
                    words = render(row, person, self.at).text
                    work.outbox.starting(row.id, "test", self.at)
                    work.outbox.sent(row.id, self.at, words, None)
                    if row.opens is not None:
                        work.people.change(row.person_id, waiting_for=row.opens)
                    said[person.address] = words
            work.commit()
        return said

    def causes(self) -> list[str]:
        """Why people stand on the list of the staff."""
        with self.store.work(reading=True) as work:
            return [row.cause for row in work.helpdesk.waiting(10)]


@pytest.fixture
def line(sqlite_url: str) -> Line:
    """A line with one keeper of a standing pile."""
    line = Line(Store(sqlite_url, secret="a key for tests"))
    for words in ("hi", "yes", "built it today, 3x3x3 bin, 20 buckets of leaves and 20 buckets of grass"):
        line.text(ANA, words)
    return line


def member(line: Line, address: str, name: str, role: Role) -> Member:
    """Somebody who has texted an invitation."""
    with line.store.work() as work:
        code = work.staff.invite(name, role, None, line.at)
        work.commit()
    line.text(address, code.lower())
    with line.store.work(reading=True) as work:
        person = work.people.by_address("sms", address)
        found = work.staff.of_person(person.id) if person is not None else None
    assert found is not None
    return found


def test_an_invitation_makes_whoever_texts_it_first_a_member(line: Line) -> None:
    """It works once: the next who texts it stays what they are."""
    with line.store.work() as work:
        code = work.staff.invite("Maren", "educator", None, line.at)
        work.commit()

    assert line.text(MAREN, code).startswith("Welcome, Maren. You are an educator here.")
    assert "educator" not in line.text(BELEN, code)
    with line.store.work(reading=True) as work:
        assert [each.name for each in work.staff.all()] == ["Maren"]


def test_an_invitation_dies_after_a_week(line: Line) -> None:
    """A code of eight days ago makes nobody a member."""
    with line.store.work() as work:
        code = work.staff.invite("Maren", "educator", None, line.at)
        work.commit()
    line.at += timedelta(days=8)
    line.text(MAREN, code)

    with line.store.work(reading=True) as work:
        assert work.staff.all() == []


def test_who_wants_a_human_is_told_the_truth_about_who_reads_it(line: Line) -> None:
    """Without an address of the office: that nobody works here, or that a human will answer in the chat."""
    line.desk = Desk(Profile(), DESK.look)
    alone = line.text(ANA, "can I talk to a person?")
    member(line, MAREN, "Maren", "educator")

    assert "no person is listed" in alone
    assert line.text(ANA, "can I talk to a person?") == (
        "I passed it on. A person will read it and answer here."
    )


def test_a_danger_reaches_the_members_where_the_profile_names_no_address(line: Line) -> None:
    """Coordinators and educators are alerted in their own chats; a volunteer, and a mere request, are not."""
    line.desk = Desk(Profile(), DESK.look)
    member(line, MAREN, "Maren", "educator")
    member(line, BELEN, "Belén", "volunteer")
    before = line.said
    line.text(ANA, "help its smoking")
    alerted = line.said
    line.text(ANA, "can I talk to a person?")

    assert MAREN not in before
    assert "smok" in alerted[MAREN].lower()
    assert BELEN not in alerted
    assert MAREN not in line.said


def test_a_member_signs_in_from_the_chat(line: Line) -> None:
    """The reply holds the address of the pages and a code that opens them."""
    member(line, MAREN, "Maren", "educator")
    said = line.text(MAREN, "Sign in")
    code = said.split("code: ")[1][:6]

    assert "https://pages.example/sign-in/code" in said
    with line.store.work() as work:
        assert work.staff.sign_in(MAREN, code, line.at) is not None


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("sign in", "sign_in"),
        ("Entrar", "sign_in"),
        ("Who needs help?", "waiting"),
        ("¿Quién necesita ayuda?", "waiting"),
        ("quien necesita ayuda", "waiting"),
        ("class today", "today"),
        ("La clase de hoy", "today"),
        ("answer 2: come by", "answer"),
        ("contestar 2: pase", "answer"),
        ("send 1: ants", "send"),
        ("Manda 1 hormigas", "send"),
        ("handled 3", "done"),
        ("atendido 3", "done"),
        ("turned it, 128", None),
        ("help its smoking", None),
        ("2", None),
    ],
)
def test_what_members_want_is_read_in_both_languages(text: str, wish: str | None) -> None:
    """Only whole messages of these words; anything else is a gardener's."""
    word = word_of(text)

    assert (word.wish if word else None) == wish


def test_a_gardener_cannot_ask_for_the_list(line: Line) -> None:
    """The same words from somebody who does not work here show nobody's trouble."""
    line.text("+15055550102", "hi")
    line.text("+15055550102", "yes")
    line.text(ANA, "help its smoking")

    assert "smoking" not in line.text("+15055550102", "who needs help")


def test_danger_stands_on_the_list_and_is_alerted_within_the_minute(line: Line) -> None:
    """Smoke: the alert goes out with the reply, and the row stands first."""
    line.text(ANA, "I want to talk to a person")
    line.count += 1
    incoming = Incoming("sms", ANA, "smoke", "help its smoking", line.at, form="text")
    with line.store.work() as work:
        incoming_id = work.inbox.take(incoming)
        work.commit()
    assert incoming_id is not None
    respond(line.store, DESK, incoming_id, incoming, line.at)

    assert "Smoke or dangerous heat" in line.deliver()["+15055550160"]
    assert line.causes() == ["danger", "person"]


def test_the_same_advice_days_later_calls_a_human(line: Line) -> None:
    """A pile that stays wet after the advice was given: a human looks."""
    line.text(ANA, "flies everywhere, what should I do")
    assert "trouble" not in line.causes()
    line.at += timedelta(days=5)
    line.text(ANA, "flies everywhere, what should I do")

    assert line.causes() == ["trouble"]


def test_an_educator_answers_from_the_phone(line: Line) -> None:
    """The list by numbers, then the words into the gardener's own thread with name and role."""
    member(line, MAREN, "Maren", "educator")
    line.text(ANA, "help its smoking")
    listed = line.text(MAREN, "who needs help")
    confirmed = line.text(MAREN, "answer 1: Is all well now?")

    assert "1 #1, DANGER: help its smoking" in listed
    assert confirmed == "Sent to #1 in your name."
    assert line.causes() == []
    with line.store.work(reading=True) as work:
        said = work.helpdesk.thread(1, 1)[0]
    assert (said.by, said.text) == ("human", "Is all well now? - Maren, educator")


def test_an_approved_text_goes_out_in_the_gardeners_language_with_its_version(line: Line) -> None:
    """What was sent says which version it was and who approved it."""
    maren = member(line, MAREN, "Maren", "educator")
    with line.store.work() as work:
        written = work.approved.write("ants", "Water it.", "Riegue.", maren.id)
        work.approved.approve(written.id, maren.id, line.at)
        work.people.change(1, language="es")
        work.commit()
    line.text(ANA, "quiero hablar con una persona")
    line.text(MAREN, "who needs help")
    line.text(MAREN, "send 1: ants")

    with line.store.work(reading=True) as work:
        said = work.helpdesk.thread(1, 1)[0]
    assert said.text.startswith("Riegue. - Maren")
    assert said.reason is not None
    assert (said.reason["version"], said.reason["approved_by"]) == (1, "Maren")


def test_for_a_day_the_program_gives_no_advice_on_what_a_human_has_in_hand(line: Line) -> None:
    """Facts are read back; a question for advice goes to the human; a day later the program answers again."""
    maren = member(line, MAREN, "Maren", "educator")
    with line.store.work() as work:
        (pile,) = work.piles.of(1)
        write(work, maren, work.people.get(1), "Leave it until Friday.", line.at, pile.id)
        work.commit()
    line.deliver()
    told = line.text(ANA, "turned it, 118")
    asked = line.text(ANA, "what should I do next?")

    assert told == "Turned, 118 F."
    assert asked.startswith("A human has this in hand.")
    assert line.causes() == ["asked_again"]
    line.at += timedelta(hours=25)
    assert "human" not in line.text(ANA, "what should I do next?")


def test_smoke_is_answered_even_while_a_human_has_the_pile_in_hand(line: Line) -> None:
    """No silence where there is danger."""
    maren = member(line, MAREN, "Maren", "educator")
    with line.store.work() as work:
        write(work, maren, work.people.get(1), "I look into it.", line.at)
        work.commit()

    assert line.text(ANA, "help its smoking").startswith("Stay back")


def test_a_call_is_kept_like_a_text(line: Line) -> None:
    """What was told on the phone becomes records of the gardener's, said through a member of staff."""
    maren = member(line, MAREN, "Maren", "educator")
    with line.store.work() as work:
        (pile,) = work.piles.of(1)
        write_down(work, maren, work.people.get(1), "temp 131, turned yesterday", "called", pile.id, line.at)
        told = work.piles.records(pile.id)
        said = work.helpdesk.thread(1, 1)[0]
        work.commit()

    assert {each.record.kind for each in told} >= {"temperature", "turned"}
    assert {each.said_by for each in told} == {1}
    assert (said.by, said.who) == ("staff", "Maren, called")


def test_nobody_who_ended_our_texts_is_written_to(line: Line) -> None:
    """A human must call instead."""
    maren = member(line, MAREN, "Maren", "educator")
    line.text(ANA, "STOP")
    with line.store.work() as work, pytest.raises(BadInput, match="Call instead"):
        write(work, maren, work.people.get(1), "Hello", line.at)


def test_a_volunteer_is_shown_their_piles_only(line: Line) -> None:
    """Somebody else's trouble does not come to their phone, and the class does not either."""
    volunteer = member(line, BELEN, "Belen", "volunteer")
    with line.store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Denver"))
        work.commit()
    line.text(ANA, "help its smoking")
    before = line.text(BELEN, "who needs help")
    with line.store.work() as work:
        work.staff.assign(volunteer.id, work.piles.of(1)[0].id, line.at)
        work.commit()

    assert before == "Nobody waits for a human."
    assert "smoking" in line.text(BELEN, "who needs help")
    assert "FIG22" not in line.text(BELEN, "class today")


@pytest.mark.parametrize(
    ("text", "blanked"),
    [
        ("Ines said 128 F", f"{BLANK} said 128 F"),
        ("ask INES or Don Chucho", f"ask {BLANK} or {BLANK}"),
        ("call 505 555 0101 or (505) 555-0102", f"call {BLANK} or {BLANK}"),
        ("write to me@mail.example, or @inesgreen", f"write to {BLANK}, or {BLANK}"),
        ("I live at 12 Oak Street", f"I live at {BLANK}"),
        ("vivo en Calle Roble 12", f"vivo en {BLANK}"),
        ("temp 128, turned 3 times since 5/20", "temp 128, turned 3 times since 5/20"),
        ("the spines of cactus", "the spines of cactus"),
    ],
)
def test_what_leads_to_a_person_is_blanked_for_a_records_request(text: str, blanked: str) -> None:
    """Names, numbers, chat names, addresses; readings and dates stay."""
    assert Blanker(["Ines", "Don Chucho"])(text) == blanked


def test_no_nudge_comes_between_a_human_and_a_gardener(line: Line) -> None:
    """What falls due within the day is held back, with the reason written down; afterwards it may go out."""
    maren = member(line, MAREN, "Maren", "educator")
    line.at += timedelta(days=3)
    with line.store.work() as work:
        write(work, maren, work.people.get(1), "I come by tomorrow.", line.at)
        work.commit()
    line.deliver()
    plan(line.store, line.at + timedelta(hours=1), DESK.look)
    with line.store.work(reading=True) as work:
        held = [said.why_not for said in work.helpdesk.thread(1, 20) if said.status == "held"]
        waiting = [said for said in work.helpdesk.thread(1, 20) if said.status == "waiting"]
    plan(line.store, line.at + timedelta(hours=48), DESK.look)
    with line.store.work(reading=True) as work:
        later = [said.kind for said in work.helpdesk.thread(1, 20) if said.status == "waiting"]

    assert (held, waiting) == (["staff"], [])
    assert later == ["nudge"]
