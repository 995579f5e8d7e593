"""People to store things about, all of the invented Larkmoor County."""

from datetime import datetime

import pytest

from storage.people import Person
from storage.work import Store


@pytest.fixture
def ines(store: Store, at: datetime) -> Person:
    """A keeper who has said yes."""
    with store.work() as work:
        person = work.people.add("sms", "+13035550101", "Ines", "es", "f", "America/Denver", at)
        person = work.people.consent(person.id, True, "Yes?", "es", "sms", None, "1", at)
        work.commit()
    return person


@pytest.fixture
def leo(store: Store, at: datetime) -> Person:
    """Another keeper who has said yes."""
    with store.work() as work:
        person = work.people.add("sms", "+13035550102", "Leo", "en", "f", "America/Phoenix", at)
        person = work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", at)
        work.commit()
    return person
