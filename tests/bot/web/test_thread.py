"""A person's thread: what staff can read of a pile beside what was said."""

from collections.abc import Callable
from datetime import date

from starlette.testclient import TestClient

from shared.pile import Record
from storage.staff import Member
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import NOON
from tests.bot.web.test_board import shared_pile


def test_the_heat_that_readings_prove_stands_in_the_thread(
    browser: TestClient, store: Store, sign_in: Callable[[Role], Member]
) -> None:
    """Four days at 58 °C: 96 hours, one spell, half the pile never hot; and never a word of being safe."""
    pile_id = shared_pile(store)
    with store.work() as work:
        ana_id = work.piles.keepers(pile_id)[0].person_id
        for day in range(28, 32):
            work.piles.record(pile_id, ana_id, Record("temperature", date(2026, 3, day), core_c=58.0), NOON)
        work.commit()
    sign_in("educator")

    page = browser.get(f"/people/{ana_id}").text

    assert "Core at 131 F or more: 96 hours." in page
    assert "turnings: 1. Share that may never have been hot: 50 %." in page
    assert "Organic rule, 7 CFR 205.203: not seen." in page.replace("\n", " ")
    assert "It proves no pile free of germs or seeds." in page
