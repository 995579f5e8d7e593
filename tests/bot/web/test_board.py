"""The board for the garden's wall: bay, stage, next job, and nothing of anybody."""

from collections.abc import Callable
from datetime import date

from starlette.testclient import TestClient

from shared.pile import Record
from storage.staff import Member
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import NOON

SETUP = {"built": "2026-03-20", "length_m": 1.0, "width_m": 1.0, "height_m": 1.0, "bin": True} | {
    "ingredients": [["dry_leaves", 600.0], ["grass_clippings", 500.0]],
    "fed": False,
}


def shared_pile(store: Store) -> int:
    """Ana's and Leo's pile, hot, under a name that tells who they are."""
    with store.work() as work:
        ana, leo = (
            work.people.add("gateway", f"+1505555010{n}", name, "en", "f", "America/Denver", NOON)
            for n, name in enumerate(("Ana", "Leo"))
        )
        pile_id = work.piles.found(ana.id, "America/Denver", NOON, "Ana and Leo's").id
        work.piles.join(pile_id, leo.id, NOON)
        work.piles.set_up(pile_id, ana.id, SETUP, NOON)
        work.piles.record(pile_id, ana.id, Record("temperature", date(2026, 4, 1), core_c=58.0), NOON)
        work.commit()
    return pile_id


def test_the_board_shows_bay_stage_and_job_and_nobody(
    browser: TestClient, store: Store, sign_in: Callable[[Role], Member], form_mark: Callable[[str], str]
) -> None:
    """A hot pile in bay "North" stands on the board; whose it is does not."""
    pile_id = shared_pile(store)
    sign_in("educator")

    form = {"form_mark": form_mark("/board"), "pile": str(pile_id), f"bay{pile_id}": "North"}
    board = browser.post("/board", data=form).text

    assert "North" in board
    assert "hot" in board
    assert not any(told in board for told in ("Ana", "Leo", "555010"))


def test_a_board_without_piles_is_refused_in_one_line(
    browser: TestClient, store: Store, sign_in: Callable[[Role], Member], form_mark: Callable[[str], str]
) -> None:
    """Nothing chosen: the page says what to do."""
    shared_pile(store)
    sign_in("educator")

    page = browser.post("/board", data={"form_mark": form_mark("/board")})

    assert page.status_code == 400
    assert "Choose at least one pile" in page.text
