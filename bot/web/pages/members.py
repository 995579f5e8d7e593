"""Who works here: invitations, roles, leaving; and the log of who looked at whose thread."""

from collections.abc import Callable
from typing import get_args

from bot.web import forms
from bot.web.office import COORDINATORS, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput
from storage.staff import INVITE_LASTS, Member
from storage.staff_models import Role
from storage.work import Work

LOOKS = 200


def overview(visit: Visit) -> Answer:
    """The members, and those who are invited."""
    with visit.office.store.work(reading=True) as work:
        members, invited = work.staff.all(), work.staff.invited(visit.at)
    return Drawn("members.html", {"members": members, "invited": invited, "roles": get_args(Role)})


def invite(visit: Visit) -> Answer:
    """A one-time code, shown once; whoever texts it becomes a member."""
    name = forms.needed(visit, forms.line(visit, "name", "First name", longest=40), "First name")
    role: Role = forms.choice(visit, "role", "Role", get_args(Role))
    with visit.office.store.work() as work:
        code = work.staff.invite(name, role, visit.who.id, visit.at)
        work.commit()
    return Drawn("invited.html", {"code": code, "name": name, "days": INVITE_LASTS.days})


def change(visit: Visit) -> Answer:
    """Another role, from the next click on."""
    role: Role = forms.choice(visit, "role", "Role", get_args(Role))
    return _on_member(visit, lambda work, member: work.staff.change_role(member.id, role))


def end(visit: Visit) -> Answer:
    """A member leaves, and is signed out everywhere at once."""
    return _on_member(visit, lambda work, member: work.staff.end(member.id, visit.at))


def sign_out(visit: Visit) -> Answer:
    """A member's browsers are all signed out, as when a phone is lost."""
    return _on_member(visit, lambda work, member: work.staff.sign_out_everywhere(member.id, visit.at))


def looks(visit: Visit) -> Answer:
    """Who looked at whose thread, number or ledger, the newest first."""
    with visit.office.store.work(reading=True) as work:
        return Drawn("looks.html", {"looks": work.staff.looks(None, LOOKS)})


def _on_member(visit: Visit, act: Callable[[Work, Member], None]) -> Answer:
    """Do something with this member; what stands against it is said in the reader's language."""
    with visit.office.store.work() as work:
        try:
            act(work, work.staff.get(visit.path["member"]))
        except BadInput as trouble:
            raise BadInput(translate(visit.language, str(trouble))) from None
        work.commit()
    return Go("/staff")


PAGES = (
    Page("/staff", "GET", COORDINATORS, overview),
    Page("/staff/invite", "POST", COORDINATORS, invite),
    Page("/staff/looks", "GET", COORDINATORS, looks),
    Page("/staff/{member:int}/role", "POST", COORDINATORS, change),
    Page("/staff/{member:int}/end", "POST", COORDINATORS, end),
    Page("/staff/{member:int}/sign-out", "POST", COORDINATORS, sign_out),
)
