"""What arrived: stored before it is acknowledged, handled once."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, func, select, update
from sqlalchemy.orm import Session

from storage.models import Form, IncomingTable, insert_once, of_table


@dataclass(frozen=True, slots=True)
class Incoming:
    """One message as a channel received it.

    message_id   the channel's own id: the same one again is the same message
    at           when it was sent, as far as the channel knows [UTC]
    name         what the channel calls the writer
    place        the group that it was said in, None where we are alone with the writer
    repeats      an id under which the same message may have come before, where the channel gives none itself
    """

    channel: str
    address: str
    message_id: str
    text: str
    at: datetime
    name: str | None = None
    form: Form = "text"
    repeats: str | None = None
    place: str | None = None


def storable(text: str) -> str:
    """The text without what no database takes: NUL, and halves of surrogate pairs, which JSON can hold."""
    return text.encode("utf-8", "replace").decode().replace("\0", "")


class Inbox:
    """The incoming messages of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def take(self, incoming: Incoming) -> int | None:
        """Store a message and give its id; None where this channel brought it before."""
        if incoming.repeats is not None and self._has(incoming.channel, incoming.repeats):
            return None
        values = {
            "channel": incoming.channel,
            "address": incoming.address,
            "message_id": incoming.message_id,
            "text": storable(incoming.text),
            "name": incoming.name and storable(incoming.name),
            "place": incoming.place,
            "form": incoming.form,
            "at": incoming.at,
        }
        taken: int | None = insert_once(self._session, IncomingTable, values)
        return taken

    def _has(self, channel: str, message_id: str) -> bool:
        held = select(IncomingTable.id).where(
            IncomingTable.channel == channel, IncomingTable.message_id == message_id
        )
        return self._session.scalar(held) is not None

    def waiting(self) -> list[tuple[int, Incoming]]:
        """Messages that are stored but not yet handled, in the order of arrival."""
        rows = self._session.scalars(
            select(IncomingTable).where(IncomingTable.handled_at.is_(None)).order_by(IncomingTable.id)
        )
        return [
            (
                row.id,
                Incoming(
                    row.channel,
                    row.address,
                    row.message_id,
                    row.text,
                    row.at,
                    row.name,
                    row.form,
                    place=row.place,
                ),
            )
            for row in rows
        ]

    def backlog(self) -> tuple[int, datetime | None]:
        """How many messages are not yet handled, and when the oldest was sent."""
        waiting = select(func.count(), func.min(IncomingTable.at)).where(IncomingTable.handled_at.is_(None))
        number, since = self._session.execute(waiting).one()
        return number, since

    def heard(self, channel: str, address: str, limit: int) -> list[datetime]:
        """When the last messages came from an address, newest first."""
        where = {"of_channel": channel, "of_address": address, "most": limit}
        return list(self._session.scalars(HEARD, where))

    def handled(self, incoming_id: int, at: datetime) -> bool:
        """Mark a message as done; False where it was done before, so that its effects are not repeated."""
        return self._session.scalar(HANDLED, {"of": incoming_id, "handled_at": at}) is not None


INCOMING = of_table(IncomingTable)
HEARD = (
    select(INCOMING.c.at)
    .where(INCOMING.c.channel == bindparam("of_channel"), INCOMING.c.address == bindparam("of_address"))
    .order_by(INCOMING.c.id.desc())
    .limit(bindparam("most"))
)
HANDLED = (
    update(INCOMING)
    .where(INCOMING.c.id == bindparam("of"), INCOMING.c.handled_at.is_(None))
    .values(handled_at=bindparam("handled_at"))
    .returning(INCOMING.c.id)
)
