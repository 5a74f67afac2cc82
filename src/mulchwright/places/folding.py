"""How names of towns are compared: without case, accents and punctuation.

The script that writes the table of towns folds its search keys with this function, and whoever looks a name
up folds what was typed in the same way.
"""

from __future__ import annotations

import re
import unicodedata

__all__ = ["folded"]

_LETTERS = str.maketrans(
    {
        "ß": "ss", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ł": "l", "ı": "i",
        "ħ": "h", "ŋ": "n", "ə": "e", "ɓ": "b", "ɗ": "d", "ƙ": "k",
    }
)  # fmt: skip
_SHORT = {"st": "saint", "ste": "sainte", "mt": "mount", "ft": "fort"}
"""Written out at the beginning of a name, so that "St. Louis" and "Saint Louis" are one."""


def folded(name: str) -> str:
    """A name in small letters without accents; anything but letters and digits is one blank.

    Letters of other scripts stay as they are. "St.", "Ste.", "Mt." and "Ft." at the beginning are
    written out.
    """
    plain = unicodedata.normalize("NFKD", name.casefold().translate(_LETTERS))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = re.sub(r"['’ʻʼ`´]", "", plain)
    words = re.sub(r"[\W_]+", " ", plain).split()
    if len(words) > 1 and words[0] in _SHORT:
        words[0] = _SHORT[words[0]]
    return " ".join(words)
