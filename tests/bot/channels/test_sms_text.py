"""SMS alphabets and parts.

Checked against smsutil (splits) and gsm0338 (codec), two libraries independent of ours.
"""

import random

import gsm0338  # noqa: F401  registers its codecs
import pytest
import smsutil
from hypothesis import given
from hypothesis import strategies as st

from bot.channels.sms_text import BASIC, EXTENSION, alphabet, fold, parts

LETTERS = st.text(st.sampled_from(BASIC + EXTENSION), min_size=1, max_size=700)
ANYTHING = LETTERS | st.text(st.sampled_from(BASIC + EXTENSION + "áíóú°’🔥👍漢"), min_size=1, max_size=400)


def test_the_alphabet_has_the_codes_of_the_standard():
    """Each character of the default alphabet stands at its code (gsm0338's table of 3GPP TS 23.038)."""
    codes = [code for code in range(128) if code != 27]

    assert [char.encode("gsm03.38") for char in BASIC] == [bytes([code]) for code in codes]
    assert all(char.encode("gsm03.38")[0] == 27 for char in EXTENSION)


@given(ANYTHING)
def test_texts_are_cut_as_smsutil_cuts_them(text):
    """For any text the parts are those of smsutil, and joined they are the text again."""
    ours = parts(text)

    assert ours == tuple(part.content for part in smsutil.split(text).parts)
    assert "".join(ours) == text


@given(ANYTHING)
def test_the_alphabet_is_the_one_that_smsutil_names(text):
    """One character outside the default alphabet forces the wide one."""
    assert (alphabet(text) == "gsm") == smsutil.is_valid_gsm(text)


@pytest.mark.parametrize(
    ("char", "full", "two"),
    [("a", 160, 306), ("á", 70, 134), ("€", 80, 152), ("🔥", 35, 66)],
)
def test_the_standard_lengths(char, full, two):
    """160 and 153 septets, 70 and 67 units to a part (3GPP TS 23.040); escapes and surrogates count twice."""
    counts = [len(parts(char * length)) for length in (0, full, full + 1, two, two + 1)]

    assert counts == [1, 1, 2, 2, 3]


def test_a_spanish_text_folds_to_the_default_alphabet():
    """Accents that would halve a text's room go; those that the alphabet has stay."""
    folded = fold("¿Ya volteó la pila el miércoles? Añada agua – ½ cubeta… “así”, 53\u00a0°C")

    assert folded == '¿Ya volteo la pila el miércoles? Añada agua - 1/2 cubeta... "asi", 53  C'
    assert alphabet(folded) == "gsm"


@given(LETTERS)
def test_what_is_in_the_alphabet_is_left_alone(text):
    """Folding changes nothing that needs no folding."""
    assert fold(text) == text


def test_what_has_no_plain_form_is_left_alone():
    """An emoji or another script is not silently lost."""
    assert fold("🔥 漢") == "🔥 漢"


def test_folding_twice_is_folding_once():
    """Over every character of the first plane, a folded text stays as it is when folded again."""
    sample = random.Random(7).sample([chr(code) for code in range(0x20, 0xD800)], 5000)

    assert all(fold(fold(char)) == fold(char) for char in sample)
