"""Who writes to us: settings, standing, consent, addresses; and forgetting them when they ask."""

import hashlib
import hmac
import re
import secrets
from collections.abc import Collection
from dataclasses import asdict, dataclass, field, fields
from datetime import date, datetime, time
from typing import Any, Literal, TypedDict, Unpack
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import ColumnElement, bindparam, delete, func, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage import privacy
from storage.models import (
    AddressTable,
    ConsentTable,
    KeeperTable,
    MoveTable,
    PersonTable,
    Standing,
    StopListTable,
    Weekday,
    columns_of,
    of_table,
)

Language = Literal["en", "es"]
Units = Literal["f", "c"]

QUIET_FROM, QUIET_TO = time(20), time(9)
"""Default hours without nudges: narrower than the 8 a.m. to 9 p.m. that US rules allow (common practice)."""


PICTURE_KEY = re.compile(r"(?P<person>[0-9]{1,9})-(?P<pile>[0-9]{1,9})-(?P<until>[0-9]{8})-[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who wrote to us. Times of day, weekdays and days are those of `zone`.

    channel, address   where to write to now; both empty once erased
    weekday, nudge_at  when they asked to be nudged, None where they did not choose
    quiet_from, _to    no nudges from, until
    paused_until       first day on which nudges may come again; `date.max`: until they come back
    only_about         "water" or "turn": the one matter they want to hear about
    waiting_for        the open question and how far setting up has come; the conversation owns its content
    unanswered         nudges sent since they last wrote
    joined_at          when they first said yes, None before
    next_look_at       when the planner next looks at the person (not at a pile of theirs)
    through_id         whose phone they speak through, who have none of their own here; None: their own
    composted_before   asked once of whoever joins by a class, as are household (heads) and postcode_area
    """

    id: int
    name: str | None
    language: Language
    units: Units
    zone: str
    standing: Standing
    channel: str
    address: str
    weekday: Weekday | None = None
    nudge_at: time | None = None
    quiet_from: time = QUIET_FROM
    quiet_to: time = QUIET_TO
    paused_until: date | None = None
    only_about: str | None = None
    cannot_turn: bool = False
    thermometer: bool | None = None
    waiting_for: dict[str, Any] = field(default_factory=dict)
    unanswered: int = 0
    last_heard_at: datetime | None = None
    created_at: datetime | None = None
    joined_at: datetime | None = None
    next_look_at: datetime | None = None
    class_code: str | None = None
    through_id: int | None = None
    composted_before: bool | None = None
    household: int | None = None
    postcode_area: str | None = None


class Changes(TypedDict, total=False):
    """What `People.change` can set."""

    name: str | None
    language: Language
    units: Units
    zone: str
    standing: Standing
    weekday: Weekday | None
    nudge_at: time | None
    quiet_from: time
    quiet_to: time
    paused_until: date | None
    only_about: str | None
    cannot_turn: bool
    thermometer: bool | None
    waiting_for: dict[str, Any]
    unanswered: int
    last_heard_at: datetime | None
    next_look_at: datetime | None
    class_code: str | None
    composted_before: bool | None
    household: int | None
    postcode_area: str | None


@dataclass(frozen=True, slots=True)
class Consent:
    """One line of the ledger: what was said, to which wording, in which language, where and when."""

    given: bool
    wording: str
    language: str
    channel: str
    class_code: str | None
    version: str
    at: datetime


class People:
    """The people of one unit of work."""

    def __init__(self, session: Session, secret: str) -> None:
        self._session = session
        self._secret = secret

    def add(
        self,
        channel: str,
        address: str,
        name: str | None,
        language: Language,
        units: Units,
        zone: str,
        at: datetime,
    ) -> Person:
        """Someone new, with the standing `asked`: nothing but answers goes out before they say yes."""
        row = PersonTable(
            name=name,
            language=language,
            units=units,
            zone=known_zone(zone),
            standing="asked",
            quiet_from=QUIET_FROM,
            quiet_to=QUIET_TO,
            cannot_turn=False,
            waiting_for={},
            unanswered=0,
            created_at=at,
        )
        self._session.add(row)
        self._session.flush()
        self.reach(row.id, channel, address, at)
        return self.get(row.id)

    def add_to_phone(self, name: str, owner: Person, at: datetime) -> Person:
        """Somebody who speaks through another's phone ("Leo: turned"): never written to, only credited."""
        row = PersonTable(
            name=name,
            language=owner.language,
            units=owner.units,
            zone=owner.zone,
            standing="asked",
            quiet_from=owner.quiet_from,
            quiet_to=owner.quiet_to,
            cannot_turn=False,
            waiting_for={},
            unanswered=0,
            created_at=at,
            through_id=owner.id,
        )
        self._session.add(row)
        self._session.flush()
        return self.get(row.id)

    def reach(self, person_id: int, channel: str, address: str, at: datetime) -> None:
        """From now on write to this person here. An address that was another's becomes theirs."""
        mine = update(AddressTable).where(AddressTable.person_id == person_id)
        self._session.execute(mine.values(current=False))
        held = self._session.scalar(select(AddressTable).where(*_is(channel, address)))
        if held is None:
            held = AddressTable(channel=channel, address=address)
        held.person_id, held.current, held.since = person_id, True, at
        self._session.add(held)
        self._session.flush()

    def let_move(self, person_id: int, code: str, until: datetime) -> None:
        """Whoever texts this code until then is this person on another phone; earlier codes end."""
        self._session.merge(MoveTable(person_id=person_id, mark=self._mark("move", code), expires_at=until))
        self._session.flush()

    def moving(self, code: str, at: datetime) -> Person | None:
        """Who moves by this code now; None where it is unknown, used or too old, or they have opted out."""
        mine = select(MoveTable.person_id).where(
            MoveTable.mark == self._mark("move", code), MoveTable.expires_at > at
        )
        person_id = self._session.scalar(mine)
        person = None if person_id is None else self.get(person_id)
        return person if person is not None and person.standing == "joined" else None

    def move(self, person_id: int, channel: str, address: str, at: datetime) -> None:
        """From now on this person is reached here only; their code is used up.

        Whoever was met at this address so far was they. What came from the old one stays with the person.
        """
        self._session.execute(delete(MoveTable).where(MoveTable.person_id == person_id))
        met = self.by_address(channel, address)
        privacy.leave_addresses(self._session, person_id)
        self.reach(person_id, channel, address, at)
        if met is not None:
            row = self._session.get_one(PersonTable, met.id)
            row.name, row.standing, row.waiting_for, row.next_look_at = None, "erased", {}, None
        self._session.flush()

    def calendar_key(self, person_id: int, *, renew: bool = False) -> str:
        """The secret part of the address of this person's calendar; a renewed one ends the one before."""
        row = self._session.get_one(PersonTable, person_id)
        if row.calendar_key is None or renew:
            row.calendar_key = secrets.token_urlsafe(32)
            self._session.flush()
        return row.calendar_key

    def picture_key(self, person_id: int, pile_id: int, until: date) -> str:
        """The secret part of the address of a pile's picture, good to the end of that day."""
        said = f"{person_id}-{pile_id}-{until:%Y%m%d}"
        key = hashlib.sha256(self.calendar_key(person_id).encode()).digest()
        return f"{said}-{hashlib.blake2b(said.encode(), key=key, digest_size=16).hexdigest()}"

    def by_picture_key(self, key: str, on: date) -> tuple[Person, int] | None:
        """Whose picture this is, and of which pile; nobody's once the day is over or they have stopped."""
        parts = PICTURE_KEY.fullmatch(key)
        if parts is None or parts["until"] < f"{on:%Y%m%d}":
            return None
        row = self._session.get(PersonTable, int(parts["person"]))
        if row is None or row.standing != "joined" or row.calendar_key is None:
            return None
        pile_id = int(parts["pile"])
        try:
            until = datetime.strptime(parts["until"], "%Y%m%d").date()  # noqa: DTZ007  a day, no moment
        except ValueError:
            return None
        if not hmac.compare_digest(key, self.picture_key(row.id, pile_id, until)):
            return None
        return self.get(row.id), pile_id

    def by_calendar_key(self, key: str) -> Person | None:
        """Whose calendar this is; nobody's once they have stopped."""
        person_id = self._session.scalar(select(PersonTable.id).where(PersonTable.calendar_key == key))
        person = None if person_id is None else self.get(person_id)
        return person if person is not None and person.standing == "joined" else None

    def get(self, person_id: int) -> Person:
        """The person of this id. Raises BadInput where there is none."""
        found = self.of_ids([person_id])
        if not found:
            raise BadInput(f"there is no person {person_id}")
        return found[person_id]

    def of_ids(self, person_ids: Collection[int]) -> dict[int, Person]:
        """The people of these ids, as far as there are such."""
        found = self._session.execute(OF_IDS, {"ids": list(person_ids)})
        return {row.id: _person(row) for row in found}

    def keeping(self, pile_ids: Collection[int]) -> dict[int, list[tuple[Person, datetime]]]:
        """Who tends each of these piles now, and since when, in the order in which they joined."""
        found: dict[int, list[tuple[Person, datetime]]] = {pile_id: [] for pile_id in pile_ids}
        for row in self._session.execute(KEEPING, {"pile_ids": list(pile_ids)}):
            found[row.pile_id].append((_person(row), row.keeps_since))
        return found

    def anybody(self) -> bool:
        """Whether the database knows a single person."""
        return self._session.scalar(select(PersonTable.id).limit(1)) is not None

    def by_address(self, channel: str, address: str) -> Person | None:
        """Who writes from this address, None for a stranger."""
        where = {"wrote_in": channel, "wrote_from": address}
        found = self._session.execute(BY_ADDRESS, where).one_or_none()
        return None if found is None else _person(found)

    def change(self, person_id: int, **changes: Unpack[Changes]) -> None:
        """Set what is named, leave the rest. Raises BadInput on a zone that does not exist."""
        if "zone" in changes:
            known_zone(changes["zone"])
        self._session.execute(CHANGE, {"of": person_id, **changes})

    def consent(
        self,
        person_id: int,
        given: bool,
        wording: str,
        language: str,
        channel: str,
        class_code: str | None,
        version: str,
        at: datetime,
    ) -> Person:
        """Add a yes or a no to the ledger; the standing follows it."""
        self._session.add(
            ConsentTable(
                person_id=person_id,
                given=given,
                wording=wording,
                language=language,
                channel=channel,
                class_code=class_code,
                version=version,
                at=at,
            )
        )
        row = self._session.get_one(PersonTable, person_id)
        row.standing = "joined" if given else "stopped"
        if given:
            row.joined_at = row.joined_at or at
            row.next_look_at = at
            row.class_code = class_code or row.class_code
            mark = self._mark_of(self.get(person_id))
            self._session.execute(delete(StopListTable).where(StopListTable.mark == mark))
        self._session.flush()
        return self.get(person_id)

    def consents(self, person_id: int) -> list[Consent]:
        """The person's ledger, oldest first."""
        rows = self._session.scalars(
            select(ConsentTable).where(ConsentTable.person_id == person_id).order_by(ConsentTable.id)
        )
        return [
            Consent(row.given, row.wording, row.language, row.channel, row.class_code, row.version, row.at)
            for row in rows
        ]

    def take_due(self, at: datetime, limit: int) -> list[Person]:
        """People to be looked at by now, longest due first; nobody else gets them until the commit."""
        due = (
            select(PersonTable.id)
            .where(PersonTable.next_look_at <= at)
            .order_by(PersonTable.next_look_at, PersonTable.id)
            .limit(limit)
            .with_for_update(skip_locked=True, key_share=True)
        )
        ids = list(self._session.scalars(due))
        found = self.of_ids(ids)
        return [found[person_id] for person_id in ids]

    def hold(self, person_ids: Collection[int]) -> None:
        """Let others who would change or plan for these people wait until the end of this unit of work."""
        held = select(PersonTable.id).where(PersonTable.id.in_(person_ids)).order_by(PersonTable.id)
        self._session.execute(held.with_for_update(key_share=True))

    def next_look(self, after: datetime) -> datetime | None:
        """When the first person is to be looked at beyond `after`."""
        return self._session.scalar(
            select(func.min(PersonTable.next_look_at)).where(PersonTable.next_look_at > after)
        )

    def erase(self, person_id: int, at: datetime) -> None:
        """Blank what is personal: name, addresses, message texts. What they told of piles stays.

        A confirmation that already waits in the outbox still goes out, once, and is then blanked too.
        """
        for channel, address in privacy.erase(self._session, person_id, at):
            self._session.merge(StopListTable(mark=self._mark(channel, address), since=at))
        self._session.flush()

    def unlink(self, person_id: int, at: datetime) -> None:
        """What was this person's address is somebody else's: a stranger, for whom no paper may speak.

        What came from there so far stays known as the person's, who cannot be reached any more.
        """
        self._session.merge(StopListTable(mark=self._mark_of(self.get(person_id)), since=at))
        privacy.leave_addresses(self._session, person_id)
        self._session.flush()

    def on_stop_list(self, channel: str, address: str) -> bool:
        """Whether who had this address wanted nothing more, and nobody there has said yes since."""
        return self._session.get(StopListTable, self._mark(channel, address)) is not None

    def on_stop_list_of(self, channel: str, addresses: Collection[str]) -> set[str]:
        """Which of these addresses are on that list."""
        marks = {self._mark(channel, address): address for address in addresses}
        listed: set[str] = set()
        for start in range(0, len(marks), 500):
            part = list(marks)[start : start + 500]
            found = self._session.scalars(select(StopListTable.mark).where(StopListTable.mark.in_(part)))
            listed |= {marks[mark] for mark in found}
        return listed

    def export(self, person_id: int) -> dict[str, Any]:
        """Everything kept about a person, as plain JSON values: settings, consents, records, messages."""
        consents = [asdict(line) for line in self.consents(person_id)]
        return privacy.export(self._session, person_id, asdict(self.get(person_id)), consents)

    def _mark_of(self, person: Person) -> str:
        return self._mark(person.channel, person.address)

    def _mark(self, channel: str, address: str) -> str:
        """The keyed hash of an address: without the secret nobody can try out all phone numbers."""
        key = hashlib.sha256(self._secret.encode()).digest()
        return hashlib.blake2b(f"{channel}:{address}".encode(), key=key, digest_size=32).hexdigest()


def known_zone(zone: str) -> str:
    """The zone as given. Raises BadInput where the IANA list does not hold it."""
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput(f"unknown time zone {zone!r}: use a name such as America/Denver") from None
    return zone


def _is(channel: str, address: str) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return AddressTable.channel == channel, AddressTable.address == address


PERSON, ADDRESS = of_table(PersonTable), of_table(AddressTable)
WROTE = ADDRESS.alias("wrote")
OWN = tuple(each.name for each in fields(Person) if each.name not in ("channel", "address"))
REACHED = select(*columns_of(PersonTable, OWN), ADDRESS.c.channel, ADDRESS.c.address).select_from(
    PERSON.outerjoin(ADDRESS, (ADDRESS.c.person_id == PERSON.c.id) & ADDRESS.c.current)
)
"""People, and where they are reached now."""
CHANGE = update(PERSON).where(PERSON.c.id == bindparam("of"))
OF_IDS = REACHED.where(PERSON.c.id.in_(bindparam("ids", expanding=True)))
BY_ADDRESS = REACHED.join(WROTE, WROTE.c.person_id == PERSON.c.id).where(
    WROTE.c.channel == bindparam("wrote_in"), WROTE.c.address == bindparam("wrote_from")
)

KEEPER = of_table(KeeperTable)
KEEPING = (
    REACHED.add_columns(KEEPER.c.pile_id, KEEPER.c.joined_at.label("keeps_since"))
    .join(KEEPER, KEEPER.c.person_id == PERSON.c.id)
    .where(KEEPER.c.pile_id.in_(bindparam("pile_ids", expanding=True)), KEEPER.c.left_at.is_(None))
    .order_by(KEEPER.c.joined_at, PERSON.c.id)
)


def _person(row: Any) -> Person:
    """Of a row of `REACHED`, or of one that begins like it."""
    *own, channel, address = row[: len(OWN) + 2]
    return Person(**dict(zip(OWN, own, strict=True)), channel=channel or "", address=address or "")
