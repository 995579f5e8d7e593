"""Phone numbers. The numbers are those kept free for stories: area code, 555-0100 to 555-0199."""

import pytest

from bot.phone_numbers import e164, masked, region_of
from shared.errors import BadInput


@pytest.mark.parametrize(
    "written", ["+15055550123", "505-555-0123", "(505) 555 0123", "1 505 555 0123", "tel:+1-505-555-0123"]
)
def test_a_number_has_one_written_form(written):
    """However it is written, it is stored as E.164 (ITU-T E.164: plus sign, country code, number)."""
    assert e164(written) == "+15055550123"


def test_a_national_number_is_read_in_its_own_region():
    """Without a country code the number is one of the region given."""
    assert e164("604 555 0123", "CA") == "+16045550123"


@pytest.mark.parametrize("written", ["555-0123", "+1 555 201 0001", "911", "BANK", "", "+1505555012"])
def test_what_is_no_number_is_refused_without_repeating_it(written):
    """Too short, an area code that is none, an emergency number, a name: one line with the mend."""
    with pytest.raises(BadInput, match="write it") as told:
        e164(written)

    assert not written or written not in str(told.value)


def test_a_masked_number_keeps_two_digits():
    """Enough to tell two lines of a log apart, too little to call."""
    assert masked("+15055550123") == "…23"


@pytest.mark.parametrize(
    ("number", "region"), [("+15055550100", "US"), ("+16045550100", "CA"), ("72345", "US")]
)
def test_our_own_number_tells_our_region(number, region):
    """A short code has none, and the home region stands in."""
    assert region_of(number) == region
