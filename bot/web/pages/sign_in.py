"""Signing in by a code that comes to the member's own chat, and out again."""

from bot.phone_numbers import e164
from bot.web.office import ANYBODY, STAFF, Answer, Drawn, Go, Page, Visit
from shared.errors import BadInput
from storage.outbox import Line
from storage.staff import CODE_LASTS


def ask(visit: Visit) -> Answer:
    """Where the code is to go."""
    return Go("/") if visit.member else Drawn("sign_in.html")


def send_code(visit: Visit) -> Answer:
    """A code to the chat of whoever works here; a stranger is told the same, and gets none."""
    address = _address(visit)
    with visit.office.store.work() as work:
        found = work.staff.sign_in_code(address, visit.at)
        if found is not None:
            member, code = found
            work.outbox.add(
                member.person_id,
                "reply",
                [Line("staff.sign_in_code", {"code": code, "minutes": CODE_LASTS.seconds // 60})],
                unique_key=f"sign-in:{member.id}:{visit.at.isoformat()}",
                reason={"rule": "sign_in"},
                due_at=visit.at,
                expires_at=visit.at + CODE_LASTS,
            )
        work.commit()
    return Drawn("sign_in_code.html", {"address": visit.form.get("address", ""), "code": "", "wrong": False})


def link(visit: Visit) -> Answer:
    """From a link with a code in it; the code is used up only when the form is sent."""
    filled = {"address": visit.query.get("address", ""), "code": visit.query.get("code", "")}
    return Drawn("sign_in_code.html", {**filled, "wrong": False})


def enter(visit: Visit) -> Answer:
    """The code from the chat."""
    with visit.office.store.work() as work:
        token = work.staff.sign_in(_address(visit), visit.form.get("code", "").strip(), visit.at)
        work.commit()
    if token is None:
        return Drawn(
            "sign_in_code.html", {"address": visit.form.get("address", ""), "code": "", "wrong": True}, 403
        )
    return Go("/", token)


def leave(visit: Visit) -> Answer:
    """This browser, or all of them."""
    with visit.office.store.work() as work:
        if "everywhere" in visit.form:
            work.staff.sign_out_everywhere(visit.who.id, visit.at)
        work.staff.sign_out(visit.token, visit.at)
        work.commit()
    return Go("/sign-in", "")


def choose_language(visit: Visit) -> Answer:
    """This browser's language from now on."""
    to = visit.query.get("to", "/")
    own = to if to.startswith("/") and not to.startswith(("//", "/\\")) else "/"
    return Go(own, language=visit.path["language"])


def _address(visit: Visit) -> str:
    """What was typed as the chat knows it: a phone number in E.164, else as it stands."""
    typed = visit.form.get("address", "").strip()
    try:
        return e164(typed)
    except BadInput:
        return typed


PAGES = (
    Page("/sign-in", "GET", ANYBODY, ask),
    Page("/sign-in", "POST", ANYBODY, send_code, braked=True),
    Page("/sign-in/code", "GET", ANYBODY, link),
    Page("/sign-in/code", "POST", ANYBODY, enter, braked=True),
    Page("/sign-out", "POST", STAFF, leave),
    Page("/language/{language}", "GET", ANYBODY, choose_language),
)
