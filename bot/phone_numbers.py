"""Phone numbers: one written form to store and compare (E.164), and a masked one for logs and listings."""

import phonenumbers

from shared.errors import BadInput

HOME = "US"
"""Region of a number that is written without a country code."""


def e164(text: str, region: str = HOME) -> str:
    """The number as `+15055550100`. Raises BadInput, without repeating the number, where it is none."""
    try:
        number = phonenumbers.parse(text, region)
    except phonenumbers.NumberParseException:
        raise BadInput("not a phone number; write it as +15055550100") from None
    if not phonenumbers.is_valid_number(number):
        raise BadInput(f"no such phone number ({masked(text)}); write it with its area code, as +15055550100")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def as_written(number: str) -> str:
    """An E.164 number as people here write it, as (505) 555-0100."""
    parsed = phonenumbers.parse(number)
    home = phonenumbers.region_code_for_number(parsed) == HOME
    form = phonenumbers.PhoneNumberFormat
    return phonenumbers.format_number(parsed, form.NATIONAL if home else form.INTERNATIONAL)


def region_of(number: str) -> str:
    """The region whose numbering plan an E.164 number belongs to; the home region where it has none."""
    try:
        return phonenumbers.region_code_for_number(phonenumbers.parse(number)) or HOME
    except phonenumbers.NumberParseException:
        return HOME


def masked(number: str) -> str:
    """Its last two digits only: enough to tell two lines of a log apart."""
    return f"…{number.strip()[-2:]}"
