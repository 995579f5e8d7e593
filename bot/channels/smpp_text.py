"""Texts as SMPP carries them: octets in parts, and receipts; pure.

Sources: SMPP v3.4 sections 5.2.12 (esm_class), 5.2.19 (data_coding), 5.3.2 (optional parameters) and
Appendix B (receipts, which it leaves to the vendor); 3GPP TS 23.040 clause 9.2.3.24.1 and .8 (parts).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import gsm0338  # type: ignore[import-untyped]  # noqa: F401  registers the codec "gsm03.38"
import smpp34

from bot.channels.sms_text import alphabet, parts

Default = Literal["gsm", "latin1"]
"""What an SMSC takes data_coding 0 for."""

HAS_HEADER, KIND_OF_MESSAGE = 0x40, 0x3C
RECEIPTED_MESSAGE_ID, MESSAGE_PAYLOAD, MESSAGE_STATE = 0x001E, 0x0424, 0x0427
SAR_REFERENCE, SAR_TOTAL, SAR_NUMBER = 0x020C, 0x020E, 0x020F
WIDE = 8
JOIN_8_BIT, JOIN_16_BIT = 0x00, 0x08
_CODECS = {1: "ascii", 3: "latin-1", WIDE: "utf-16-be"}
_DEFAULTS: dict[Default, str] = {"gsm": "gsm03.38", "latin1": "latin-1"}
_NOT_IA5 = re.compile(rb"[^\n\r -\x7f]")
"""Octets by which a text that is said to be IA5 shows that the GSM alphabet is meant (common practice)."""
BINARY = frozenset({2, 4})
"""data_coding of octets that are no text."""

FINAL_STATES = {2: True, 3: False, 4: False, 5: False, 8: False}
"""message_state to whether it arrived: delivered, expired, deleted, undeliverable, rejected."""
FINAL_WORDS = {"DELIVRD": True, "EXPIRED": False, "DELETED": False, "UNDELIV": False, "REJECTD": False}


@dataclass(frozen=True, slots=True)
class Octets:
    """One part as it goes into a submit_sm."""

    short_message: bytes
    data_coding: int
    esm_class: int


@dataclass(frozen=True, slots=True)
class Part:
    """One part as it came: `number` of `total`, which belong together by `reference`."""

    octets: bytes
    data_coding: int
    reference: int = 0
    total: int = 1
    number: int = 1


def encode(text: str, reference: int, default: Default) -> tuple[Octets, ...]:
    """The text in the parts that carry it, joined by a user data header where there are several.

    reference   tells this text from others to the same phone; its low 8 bits are used
    """
    wide = alphabet(text) == "ucs2"
    codec, coding = (_CODECS[WIDE], WIDE) if wide else (_DEFAULTS[default], 0)
    cut = [part.encode(codec, "replace") for part in parts(text)]
    if len(cut) == 1:
        return (Octets(cut[0], coding, 0),)
    join = bytes((5, JOIN_8_BIT, 3, reference & 0xFF, len(cut)))
    return tuple(
        Octets(join + bytes((number,)) + octets, coding, HAS_HEADER) for number, octets in enumerate(cut, 1)
    )


def decode(came: Sequence[Part], default: Default) -> str:
    """The text of its parts, in order. What cannot be read is replaced, so that no text is refused."""
    octets = b"".join(part.octets for part in sorted(came, key=lambda part: part.number))
    codec = _CODECS.get(came[0].data_coding, _DEFAULTS[default])
    if codec == "ascii" and _NOT_IA5.search(octets):
        codec = _DEFAULTS["gsm"]
    return octets.decode(codec, "replace").replace("\0", "")  # which no database takes


def read(deliver: smpp34.DeliverSm) -> Part:
    """What one deliver_sm carries, however its parts are numbered."""
    options = {option.tag: option for option in deliver.tlvs}
    payload = options.get(MESSAGE_PAYLOAD)
    octets = deliver.short_message or (payload.value if payload else b"")
    if deliver.esm_class & HAS_HEADER and octets:
        size = 1 + octets[0]
        return Part(octets[size:], deliver.data_coding, *_joined(octets[1:size]))
    sar = (options[tag].as_int() if tag in options else 0 for tag in (SAR_REFERENCE, SAR_TOTAL, SAR_NUMBER))
    reference, total, number = (value or 0 for value in sar)
    if 1 <= number <= total:
        return Part(octets, deliver.data_coding, reference, total, number)
    return Part(octets, deliver.data_coding)


def is_receipt(deliver: smpp34.DeliverSm) -> bool:
    """Whether this tells what became of a text of ours, rather than bringing one."""
    return deliver.esm_class & KIND_OF_MESSAGE != 0


def final_state(deliver: smpp34.DeliverSm) -> tuple[tuple[str, ...], bool] | None:
    """What a receipt says in the end: the ids that its text may have, and whether it arrived; else None.

    Some SMSCs write the id in a receipt in the other base than in the answer, so both are given.
    """
    options = {option.tag: option for option in deliver.tlvs}
    told = deliver.short_message.decode("latin-1")
    state, name = options.get(MESSAGE_STATE), options.get(RECEIPTED_MESSAGE_ID)
    word = re.search(r"\bstat:\s*(\w+)", told, re.IGNORECASE)
    arrived = FINAL_STATES.get(state.as_int() or 0) if state else None
    if arrived is None and word:
        arrived = FINAL_WORDS.get(word[1].upper())
    if arrived is None:
        return None
    if name and (exact := name.as_string()):
        return (exact,), arrived
    written = re.search(r"\bid:\s*(\S+)", told, re.IGNORECASE)
    return (_both_bases(written[1]), arrived) if written else None


def _joined(header: bytes) -> tuple[int, int, int]:
    """Reference, total and number from a user data header; other elements are passed over."""
    while len(header) >= 2:
        element, size = header[0], header[1]
        body, header = header[2 : 2 + size], header[2 + size :]
        if (element, size) in ((JOIN_8_BIT, 3), (JOIN_16_BIT, 4)) and len(body) == size:
            reference, total, number = int.from_bytes(body[:-2]), body[-2], body[-1]
            if 1 <= number <= total:
                return reference, total, number
    return 0, 1, 1


def _both_bases(written: str) -> tuple[str, ...]:
    bare = written.lstrip("0") or "0"
    others = []
    if bare.isdecimal():
        others.append(f"{int(bare):x}")
    if re.fullmatch(r"[0-9a-fA-F]+", bare):
        others.append(str(int(bare, 16)))
    return tuple(dict.fromkeys((written, bare, *others, *(other.upper() for other in others))))
