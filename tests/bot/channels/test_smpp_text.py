"""Texts as SMPP carries them.

Checked against smsutil (splits) and the layouts of SMPP 3.4 and 3GPP TS 23.040.
"""

import pytest
import smpp34
import smsutil
from hypothesis import given
from hypothesis import strategies as st

from bot.channels.smpp_text import Part, decode, encode, read
from bot.channels.sms_text import BASIC, EXTENSION

TEXTS = st.text(st.sampled_from(BASIC + EXTENSION), min_size=1, max_size=700) | st.text(
    st.sampled_from(BASIC + EXTENSION + "áíóú°’🔥👍漢"), min_size=1, max_size=400
)


def brought(
    octets: bytes, coding: int = 0, esm_class: int = 0, *options: tuple[int, bytes]
) -> smpp34.DeliverSm:
    """A deliver_sm with these octets."""
    return smpp34.DeliverSm(
        "15055550123",
        "15055550100",
        octets,
        esm_class=esm_class,
        data_coding=coding,
        tlvs=[smpp34.Tlv(tag, value) for tag, value in options],
    )


@given(TEXTS, st.integers(0, 10**9))
def test_what_is_encoded_is_read_back(text, reference):
    """In whatever order its parts come, the text is the same again."""
    came = [
        read(brought(part.short_message, part.data_coding, part.esm_class))
        for part in encode(text, reference, "gsm")
    ]

    assert decode(came[::-1], "gsm") == text
    assert [(part.number, part.total) for part in came] == [(n + 1, len(came)) for n in range(len(came))]
    assert len({part.reference for part in came}) == 1


@given(TEXTS)
def test_each_part_fits_into_a_message(text):
    """As many parts as smsutil makes; header and text fill 140 octets at the most (3GPP TS 23.040)."""
    parts = encode(text, 1, "gsm")

    assert len(parts) == len(smsutil.split(text).parts)
    for part in parts:
        header = part.short_message[0] + 1 if part.esm_class else 0
        septets = len(part.short_message) - header
        octets = septets if part.data_coding == 8 else -(-septets * 7 // 8)
        assert header + octets <= 140


@pytest.mark.parametrize(
    ("header", "joined"),
    [
        ("050003070201", (7, 2, 1)),
        ("06080412340302", (0x1234, 3, 2)),
        ("0b0504158200000003070202", (7, 2, 2)),
        ("06050415820000", (0, 1, 1)),
        ("050003070203", (0, 1, 1)),
        ("0500", (0, 1, 1)),
    ],
)
def test_a_header_tells_how_parts_belong_together(header, joined):
    """8-bit and 16-bit references, after other elements or none; a number beyond the total joins nothing."""
    octets = bytes.fromhex(header)

    part = read(brought(octets + b"hi", esm_class=0x40))

    assert (part.reference, part.total, part.number) == joined
    assert part.octets == (b"hi" if len(octets) == octets[0] + 1 else b"")


def test_parts_can_be_numbered_by_optional_parameters():
    """Some SMSCs use sar_msg_ref_num and its fellows instead of a header (SMPP 3.4, 5.3.2.22 to 24)."""
    part = read(brought(b"two", 0, 0, (0x020C, b"\x01\x00"), (0x020E, b"\x02"), (0x020F, b"\x02")))

    assert part == Part(b"two", 0, 256, 2, 2)


def test_a_character_that_was_cut_in_two_is_joined_again():
    """Parts are joined before they are decoded, so that a careless cut through an emoji does no harm."""
    octets = "🔥".encode("utf-16-be")

    assert decode([Part(octets[2:], 8, 1, 2, 2), Part(octets[:2], 8, 1, 2, 1)], "gsm") == "🔥"


@given(st.binary(max_size=254), st.integers(0, 255), st.integers(0, 255))
def test_any_octets_can_be_read(octets, coding, esm_class):
    """Whatever comes, a text comes of it that can be stored."""
    text = decode([read(brought(octets, coding, esm_class))], "gsm")

    assert "\0" not in text
    assert text.encode("utf-8").decode("utf-8") == text


def test_an_smsc_with_latin_1_as_its_default():
    """Where data_coding 0 is Latin-1, texts go out and come in so."""
    [part] = encode("¿Ñandu? [ok]", 1, "latin1")

    assert part.short_message == "¿Ñandu? [ok]".encode("latin-1")
    assert decode([Part(part.short_message, 0)], "latin1") == "¿Ñandu? [ok]"
