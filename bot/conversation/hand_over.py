"""When a human must take over: an alert to the staff at once, or a row on their list."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from bot.conversation.talk import Known, Outcome
from storage.helpdesk import Cause
from storage.work import Work

CAUSES: Mapping[str, Cause] = {
    "alert.smoke": "danger",
    "alert.after_smoke": "danger",
    "alert.injury": "danger",
    "alert.breathing": "danger",
    "alert.animal": "danger",
    "alert.self_harm": "crisis",
    "alert.threat": "crisis",
    "alert.wrong_person": "wrong_person",
    "alert.person": "person",
    "alert.request": "request",
}
"""What each alert is on the list of the staff."""
ONLY_ASKS = ("trouble.which", "trouble.cold.squeeze")
"""Lines of guided trouble that ask; all others advise."""
SAME_ADVICE = (timedelta(days=2), timedelta(days=21))
"""The same advice again so long after it was given first: it has not helped."""
LOOK_BACK = 40


def hand_over(work: Work, known: Known, outcome: Outcome, incoming_id: int, at: datetime) -> None:
    """Put the person on the list for every cause, and alert the staff where the outcome says so."""
    piles = [pile.row.id for pile in known.piles]
    pile_id = piles[0] if len(piles) == 1 else None
    for cause in dict.fromkeys(causes(work, known, outcome, at)):
        work.helpdesk.open(known.person.id, cause, at, pile_id, incoming_id)
    alert_staff(work, known, outcome, incoming_id, at)


def causes(work: Work, known: Known, outcome: Outcome, at: datetime) -> list[Cause]:
    """Why this message needs a human, if it does."""
    found = [CAUSES[line.key] for line in outcome.alerts if line.key in CAUSES]
    keys = {line.key for line in outcome.lines}
    if "neighbor" in keys:
        found.append("complaint")
    if outcome.asked_staff:
        found.append("asked_again")
    advice = {key for key in keys if key.startswith("trouble.") and key not in ONLY_ASKS}
    if not advice and "did_not_follow" not in keys:
        return found
    thread = work.outbox.thread(known.person.id, LOOK_BACK)
    soonest, latest = SAME_ADVICE
    before = [row for row in thread if row.sent_at and soonest <= at - row.sent_at <= latest]
    if advice & {line.key for row in before for line in row.lines}:
        found.append("trouble")
    last = {line.key for line in thread[-1].lines} if thread else set()
    if "did_not_follow" in keys and "did_not_follow" in last:
        found.append("not_followed")
    return found


def alert_staff(work: Work, known: Known, outcome: Outcome, incoming_id: int, at: datetime) -> None:
    """Tell the staff at once; alerts are sent again rather than lost."""
    for number, person_id in enumerate(_alerted(work, known, outcome, at) if outcome.alerts else ()):
        work.outbox.add(
            person_id,
            "alert",
            outcome.alerts,
            due_at=at,
            unique_key=f"alert:{incoming_id}:{number}",
            reason={"why": outcome.alerts[0].key},
        )


def _alerted(work: Work, known: Known, outcome: Outcome, at: datetime) -> list[int]:
    """The addresses of the profile; where it names none, of a danger all who may call anybody."""
    profile, people = known.profile, work.people
    if not profile.staff.alerts:
        grave = {CAUSES.get(line.key) for line in outcome.alerts} & {"danger", "crisis"}
        return [each.person_id for each in work.staff.all() if grave and each.role != "volunteer"]
    addresses = [where.partition(":")[::2] for where in profile.staff.alerts]
    return [
        (
            people.by_address(*where)
            or people.add(*where, None, profile.languages[0], profile.units, profile.zone, at)
        ).id
        for where in addresses
    ]
