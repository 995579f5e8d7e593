"""Codes that are read from paper, across a room or aloud."""

import secrets

LETTERS, DIGITS = "ACDEFHJKMNPRTUVWXY", "34679"
"""None of them is taken for another, said aloud or read from ten feet away."""


def fresh_code(letters: int, digits: int) -> str:
    """A code that nobody can foresee, such as KAP47."""
    signs = [secrets.choice(LETTERS) for _ in range(letters)]
    return "".join(signs + [secrets.choice(DIGITS) for _ in range(digits)])
