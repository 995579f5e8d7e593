"""A million random texts, cut into parts by us and by smsutil, an independent library.

    python tests/benchmarks/check_sms_text.py [--texts 1000000] [--seed 1]

Lengths lie around the limits of one to four parts; the letters are the default alphabet, its extension,
Spanish accents, typographic signs, emoji and other scripts. Each difference is printed, and ends in status 1.
"""

import argparse
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import smsutil

from bot.channels.sms_text import BASIC, EXTENSION, alphabet, fold, parts

EDGES = (4, 66, 67, 70, 71, 134, 135, 153, 160, 161, 306, 307, 459, 460, 612)
WIDE = "áíóúÁÍÓÚ°’“”–…🔥👍🪱漢字йЖ\u200d\ufe0f"


def one(chance: random.Random) -> str:
    """A text whose length lies near a limit."""
    letters = BASIC if chance.random() < 0.4 else BASIC + EXTENSION * 3
    if chance.random() < 0.5:
        letters += WIDE
    length = chance.choice(EDGES) + chance.randint(-3, 3)
    return "".join(chance.choices(letters, k=length))


def main() -> int:
    """Compare, print, and say by the status whether all agreed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--texts", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    chance, differ, wide, start = random.Random(given.seed), 0, 0, time.perf_counter()
    for _ in range(given.texts):
        text = one(chance)
        for said in (text, fold(text)):
            ours, theirs = parts(said), tuple(part.content for part in smsutil.split(said).parts)
            same_alphabet = (alphabet(said) == "gsm") == smsutil.is_valid_gsm(said)
            wide += alphabet(said) == "ucs2"
            if ours != theirs or not same_alphabet:
                differ += 1
                print(f"differs: {said!r}")
    took = time.perf_counter() - start
    print(f"{given.texts:,} texts and their plain forms, {wide:,} wide: {differ} differ, {took:.0f} s")
    return int(differ > 0)


if __name__ == "__main__":
    sys.exit(main())
