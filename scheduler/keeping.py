"""What is known of piles and their keepers, read in a few statements however many piles there are."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from scheduler.case import Said
from scheduler.nudges import WORK_OF
from scheduler.restraint import key_of
from scheduler.turns import Asked, Group
from storage.outbox import OutRow
from storage.people import Person
from storage.piles import Histories, PileRow, Told
from storage.work import Work


@dataclass(frozen=True, slots=True)
class View:
    """What the planner knows of one pile; `people`: keepers with a phone, the least lately asked first."""

    row: PileRow
    told: tuple[Told, ...]
    people: tuple[Person, ...]
    group: Group
    said: tuple[Said, ...]


def views_of(work: Work, rows: Sequence[PileRow]) -> list[View]:
    """These piles, with all that planning rests on."""
    pile_ids = [row.id for row in rows]
    about = work.outbox.about_each(pile_ids)
    groups = groups_of(work, pile_ids, about)
    return [_view(row, groups[row.id], about[row.id]) for row in rows]


def groups_of(
    work: Work,
    pile_ids: Collection[int],
    about: Mapping[int, Sequence[OutRow]] | None = None,
    histories: Histories | None = None,
) -> dict[int, Group]:
    """The keepers of each pile and all that turns among them rest on.

    about       the nudges about each pile, where they are read already
    histories   what was told of each, likewise
    """
    keepers = work.people.keeping(pile_ids)
    histories = work.piles.histories(pile_ids) if histories is None else histories
    if about is None:  # whoever is alone has no turns
        about = work.outbox.about_each([pile_id for pile_id in pile_ids if len(keepers[pile_id]) > 1])
    return {
        pile_id: Group(
            members=tuple(person for person, _ in keepers[pile_id]),
            since={person.id: since for person, since in keepers[pile_id]},
            told=tuple(histories[pile_id][0]),
            notes=tuple(histories[pile_id][1]),
            asked=_asked(about.get(pile_id, ())),
        )
        for pile_id in pile_ids
    }


def _asked(about: Sequence[OutRow]) -> tuple[Asked, ...]:
    return tuple(
        Asked(row.reason.get("whose", row.person_id), WORK_OF[key], row.sent_at or row.due_at)
        for row in about
        if (key := key_of(row)) in WORK_OF
    )


def _view(row: PileRow, group: Group, about: Sequence[OutRow]) -> View:
    asked_at = {each.person_id: each.id for each in about}
    people = [person for person in group.members if person.through_id is None]
    return View(
        row=row,
        told=group.told,
        people=tuple(sorted(people, key=lambda person: asked_at.get(person.id, 0))),
        group=group,
        said=tuple(Said(key_of(each), each.sent_at or each.due_at) for each in about),
    )
