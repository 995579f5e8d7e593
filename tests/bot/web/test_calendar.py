"""The calendar's address: only who was told it, until it is renewed or its owner stops."""

from datetime import timedelta

from starlette.testclient import TestClient

from storage.work import Store
from tests.bot.web.conftest import NOON, Clock
from tests.bot.web.test_board import shared_pile


def key_of_ana(store: Store, *, renew: bool = False) -> str:
    """The secret part of the address of Ana, who keeps a hot pile and has said yes."""
    with store.work() as work:
        ana = work.people.by_address("gateway", "+15055550100")
        assert ana is not None
        work.people.consent(ana.id, True, "OK?", "en", "gateway", None, "1", NOON)
        key = work.people.calendar_key(ana.id, renew=renew)
        work.commit()
    return key


def test_the_calendar_holds_the_next_job_of_each_pile(browser: TestClient, store: Store) -> None:
    """Ana's pile: what comes next, and when it should be ready."""
    shared_pile(store)

    feed = browser.get(f"/calendar/{key_of_ana(store)}.ics")

    assert feed.headers["content-type"].startswith("text/calendar")
    assert feed.text.count("BEGIN:VEVENT") == 2
    assert "555" not in feed.text


def test_a_renewed_address_ends_the_old_one(browser: TestClient, store: Store) -> None:
    """Whoever had the old address sees nothing any more."""
    shared_pile(store)
    old = key_of_ana(store)
    new = key_of_ana(store, renew=True)

    assert browser.get(f"/calendar/{old}.ics").status_code == 404
    assert browser.get(f"/calendar/{new}.ics").status_code == 200


def test_who_has_stopped_has_no_calendar(browser: TestClient, store: Store) -> None:
    """After STOP the address gives nothing."""
    shared_pile(store)
    key = key_of_ana(store)
    with store.work() as work:
        ana = work.people.by_calendar_key(key)
        assert ana is not None
        work.people.consent(ana.id, False, "STOP", "en", "gateway", None, "1", NOON)
        work.commit()

    assert browser.get(f"/calendar/{key}.ics").status_code == 404


def test_a_guessed_address_is_nobodys(browser: TestClient, store: Store) -> None:
    """Neither a short key nor one of the right length that was never given."""
    shared_pile(store)

    assert browser.get("/calendar/1.ics").status_code == 404
    assert browser.get(f"/calendar/{'x' * 43}.ics").status_code == 404


def test_a_picture_opens_for_a_week(browser: TestClient, store: Store, clock: Clock) -> None:
    """Ana's picture is a PNG to the end of its last day, and nobody's afterwards."""
    pile_id = shared_pile(store)
    key_of_ana(store)
    with store.work() as work:
        key = work.people.picture_key(1, pile_id, NOON.date() + timedelta(days=7))
        work.commit()
    shown = browser.get(f"/picture/{key}.png")
    clock.at += timedelta(days=8)

    assert shown.content.startswith(b"\x89PNG")
    assert browser.get(f"/picture/{key}.png").status_code == 404


def test_a_picture_of_another_pile_or_day_stays_shut(browser: TestClient, store: Store) -> None:
    """Whoever changes the pile or the day in the address sees nothing."""
    pile_id = shared_pile(store)
    key_of_ana(store)
    with store.work() as work:
        key = work.people.picture_key(1, pile_id, NOON.date())
        work.commit()

    for other in (key.replace(f"-{pile_id}-", f"-{pile_id + 1}-"), key.replace("-2026", "-2027")):
        assert browser.get(f"/picture/{other}.png").status_code == 404
