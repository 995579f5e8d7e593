"""Who works here: roles, one-time codes, signed-in browsers, and the log of who looked at whom.

A code or a session is known to the database only by its keyed hash. Codes die with use, with time, and
with too many wrong tries.
"""

import hashlib
import hmac
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.codes import DIGITS, LETTERS
from storage.models import AddressTable
from storage.staff_models import (
    AssignmentTable,
    LookTable,
    Role,
    SignInTable,
    StaffInviteTable,
    StaffTable,
    VisitTable,
)

INVITE_LASTS = timedelta(days=7)
INVITE_SIGNS = 10
CODE_LASTS = timedelta(minutes=10)
VISIT_LASTS = timedelta(hours=12)
WRONG_TRIES = 5
CODES_AN_HOUR = 5
"""Sign-in codes that one member can be sent in an hour."""

Looked = Literal["thread", "ledger", "export", "number"]


@dataclass(frozen=True, slots=True)
class Member:
    """A member of staff. `person_id` is the person whose chat gets their codes and alerts."""

    id: int
    person_id: int
    name: str
    role: Role
    since: datetime
    ended_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Looking:
    """That a member looked at something of a person's."""

    member: str
    person_id: int
    what: Looked
    at: datetime


@dataclass(frozen=True, slots=True)
class Invited:
    """Somebody who was invited and has not texted the code yet."""

    name: str
    role: Role
    expires_at: datetime


class Staff:
    """The staff of one unit of work. `secret` keys the hashes of codes and sessions."""

    def __init__(self, session: Session, secret: str) -> None:
        self._session = session
        self._key = hashlib.sha256(f"staff {secret}".encode()).digest()

    def invite(self, name: str, role: Role, made_by: int | None, at: datetime) -> str:
        """A code that makes whoever first texts it within a week a member; `made_by` None: the operator."""
        code = "".join(secrets.choice(LETTERS + DIGITS) for _ in range(INVITE_SIGNS))
        self._session.add(
            StaffInviteTable(
                mark=self._mark("invite", code),
                name=name,
                role=role,
                made_by=made_by,
                made_at=at,
                expires_at=at + INVITE_LASTS,
            )
        )
        return code

    def join(self, code: str, person_id: int, at: datetime) -> Member | None:
        """Use up an invitation; None where the code is unknown, used or too old."""
        found = self._session.scalar(
            update(StaffInviteTable)
            .where(
                StaffInviteTable.mark == self._mark("invite", code.upper()),
                StaffInviteTable.used_at.is_(None),
                StaffInviteTable.expires_at > at,
            )
            .values(used_at=at)
            .returning(StaffInviteTable)
        )
        if found is None:
            return None
        row = self._session.scalar(select(StaffTable).where(StaffTable.person_id == person_id))
        row = row or StaffTable(person_id=person_id)
        row.name, row.role, row.since, row.ended_at = found.name, found.role, at, None
        self._session.add(row)
        self._session.flush()
        return _member(row)

    def get(self, staff_id: int) -> Member:
        """The member of this id. Raises BadInput where there is none."""
        row = self._session.get(StaffTable, staff_id)
        if row is None:
            raise BadInput("There is no such member of staff.")
        return _member(row)

    def of_person(self, person_id: int) -> Member | None:
        """The person as a member; None for anybody else, and for one who has left."""
        found = select(StaffTable).where(StaffTable.person_id == person_id, StaffTable.ended_at.is_(None))
        row = self._session.scalar(found)
        return None if row is None else _member(row)

    def all(self) -> list[Member]:
        """Everybody who works here now, by name."""
        rows = self._session.scalars(
            select(StaffTable).where(StaffTable.ended_at.is_(None)).order_by(StaffTable.name, StaffTable.id)
        )
        return [_member(row) for row in rows]

    def invited(self, at: datetime) -> list[Invited]:
        """The invitations that are still open, the next to expire first."""
        rows = self._session.scalars(
            select(StaffInviteTable)
            .where(StaffInviteTable.used_at.is_(None), StaffInviteTable.expires_at > at)
            .order_by(StaffInviteTable.expires_at, StaffInviteTable.name)
        )
        return [Invited(row.name, row.role, row.expires_at) for row in rows]  # type: ignore[arg-type]

    def change_role(self, staff_id: int, role: Role) -> None:
        """Another role from now on. Raises BadInput where nobody would be left to coordinate."""
        if role != "coordinator":
            self._keep_a_coordinator(staff_id)
        self._session.execute(update(StaffTable).where(StaffTable.id == staff_id).values(role=role))

    def end(self, staff_id: int, at: datetime) -> None:
        """A member leaves: signed out everywhere at once, sees no pile any more.

        Raises BadInput where nobody would be left to coordinate.
        """
        self._keep_a_coordinator(staff_id)
        self._session.execute(update(StaffTable).where(StaffTable.id == staff_id).values(ended_at=at))
        self._session.execute(delete(AssignmentTable).where(AssignmentTable.staff_id == staff_id))
        self.sign_out_everywhere(staff_id, at)

    def sign_in_code(self, address: str, at: datetime) -> tuple[Member, str] | None:
        """A fresh six-digit code for whoever of the staff is reached at this address.

        None for a stranger, and for a member who has been sent too many; say the same to all three.
        """
        member = self._session.scalar(
            select(StaffTable)
            .join(AddressTable, AddressTable.person_id == StaffTable.person_id)
            .where(AddressTable.address == address, StaffTable.ended_at.is_(None))
            .limit(1)
        )
        if member is None or self._codes_since(member.id, at - timedelta(hours=1)) >= CODES_AN_HOUR:
            return None
        code = f"{secrets.randbelow(1_000_000):06d}"
        self._session.add(
            SignInTable(
                staff_id=member.id,
                mark=self._mark("code", code),
                made_at=at,
                expires_at=at + CODE_LASTS,
                wrong_tries=0,
            )
        )
        return _member(member), code

    def sign_in(self, address: str, code: str, at: datetime) -> str | None:
        """Use up a code: the token of a new visit, None where the code is wrong, used, old or tried out."""
        row = self._session.scalar(
            select(SignInTable)
            .join(StaffTable, StaffTable.id == SignInTable.staff_id)
            .join(AddressTable, AddressTable.person_id == StaffTable.person_id)
            .where(
                AddressTable.address == address,
                StaffTable.ended_at.is_(None),
                SignInTable.used_at.is_(None),
                SignInTable.expires_at > at,
                SignInTable.wrong_tries < WRONG_TRIES,
            )
            .order_by(SignInTable.id.desc())
            .limit(1)
            .with_for_update()
        )
        if row is None:
            return None
        if not hmac.compare_digest(row.mark, self._mark("code", code)):
            row.wrong_tries += 1
            return None
        row.used_at = at
        return self.open_visit(row.staff_id, at)

    def open_visit(self, staff_id: int, at: datetime) -> str:
        """The token of a browser that is signed in from now on."""
        token = secrets.token_urlsafe(32)
        self._session.add(
            VisitTable(
                mark=self._mark("visit", token), staff_id=staff_id, made_at=at, expires_at=at + VISIT_LASTS
            )
        )
        return token

    def visiting(self, token: str, at: datetime) -> Member | None:
        """Whose browser this is, None where it is signed out or the visit is over."""
        row = self._session.scalar(
            select(StaffTable)
            .join(VisitTable, VisitTable.staff_id == StaffTable.id)
            .where(
                VisitTable.mark == self._mark("visit", token),
                VisitTable.ended_at.is_(None),
                VisitTable.expires_at > at,
                StaffTable.ended_at.is_(None),
            )
        )
        return None if row is None else _member(row)

    def sign_out(self, token: str, at: datetime) -> None:
        """End this visit."""
        mine = update(VisitTable).where(VisitTable.mark == self._mark("visit", token))
        self._session.execute(mine.values(ended_at=at))

    def sign_out_everywhere(self, staff_id: int, at: datetime) -> None:
        """End every visit of a member."""
        mine = update(VisitTable).where(VisitTable.staff_id == staff_id, VisitTable.ended_at.is_(None))
        self._session.execute(mine.values(ended_at=at))

    def looked(self, staff_id: int, person_id: int, what: Looked, at: datetime) -> None:
        """Log that a member looked."""
        self._session.add(LookTable(staff_id=staff_id, person_id=person_id, what=what, at=at))

    def looks(self, person_id: int | None, limit: int) -> list[Looking]:
        """Who looked at this person's things (None: at anybody's), newest first."""
        rows = self._session.execute(
            select(LookTable, StaffTable.name)
            .join(StaffTable, StaffTable.id == LookTable.staff_id)
            .where(*(() if person_id is None else (LookTable.person_id == person_id,)))
            .order_by(LookTable.id.desc())
            .limit(limit)
        )
        return [Looking(name, row.person_id, row.what, row.at) for row, name in rows]  # type: ignore[arg-type]

    def assign(self, staff_id: int, pile_id: int, at: datetime) -> None:
        """Let a volunteer see this pile."""
        self._session.merge(AssignmentTable(staff_id=staff_id, pile_id=pile_id, since=at))

    def unassign(self, staff_id: int, pile_id: int) -> None:
        """No longer."""
        mine = (AssignmentTable.staff_id == staff_id) & (AssignmentTable.pile_id == pile_id)
        self._session.execute(delete(AssignmentTable).where(mine))

    def piles_of(self, staff_id: int) -> frozenset[int]:
        """The piles that a volunteer may see."""
        piles = select(AssignmentTable.pile_id).where(AssignmentTable.staff_id == staff_id)
        return frozenset(self._session.scalars(piles))

    def who_sees(self, pile_ids: Collection[int]) -> list[tuple[Member, int]]:
        """The volunteers who may see these piles, each with the pile."""
        rows = self._session.execute(
            select(StaffTable, AssignmentTable.pile_id)
            .join(AssignmentTable, AssignmentTable.staff_id == StaffTable.id)
            .where(AssignmentTable.pile_id.in_(pile_ids))
            .order_by(StaffTable.name, AssignmentTable.pile_id)
        )
        return [(_member(row), pile_id) for row, pile_id in rows]

    def _keep_a_coordinator(self, staff_id: int) -> None:
        others = select(StaffTable.id).where(
            StaffTable.role == "coordinator", StaffTable.ended_at.is_(None), StaffTable.id != staff_id
        )
        if self._session.scalar(others.limit(1)) is None:
            raise BadInput("Somebody must stay to coordinate: make another member a coordinator first.")

    def _codes_since(self, staff_id: int, at: datetime) -> int:
        mine = select(func.count()).where(SignInTable.staff_id == staff_id, SignInTable.made_at > at)
        return self._session.scalar(mine) or 0

    def _mark(self, kind: str, value: str) -> str:
        return hashlib.blake2b(f"{kind}:{value}".encode(), key=self._key, digest_size=32).hexdigest()


def _member(row: StaffTable) -> Member:
    return Member(row.id, row.person_id, row.name, row.role, row.since, row.ended_at)  # type: ignore[arg-type]
