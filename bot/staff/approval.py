"""Who may say yes to what another member wrote: a second person, or in an office of one a day's thought."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from storage.staff import Member

COOLS_OFF = timedelta(hours=24)
"""So long the only member waits between approving their own text to many and its going out."""


def another_can(members: Sequence[Member], author_id: int) -> bool:
    """Whether anybody but the author could approve it."""
    return any(each.id != author_id and each.role != "volunteer" for each in members)


def not_before(members: Sequence[Member], author_id: int, approver: Member, at: datetime) -> datetime | None:
    """From when on it may go out if this member approves it now; None where somebody else has to."""
    if approver.role == "volunteer":
        return None
    if approver.id != author_id:
        return at
    return None if another_can(members, author_id) else at + COOLS_OFF
