"""What someone wrote, shown so that none of its letters does anything to the reader's screen or turns the line round."""

from __future__ import annotations

from unicodedata import category

from tapwright.chemistry.words import escaped

# Controls, formats (marks of direction, letters without width), halves of letters and line ends of their own.
_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")
_JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"  # within words of some scripts, and within pictures


def visible(text: str, keep: str = "") -> str:
    """The text with every letter that cannot be seen escaped, as in \\u202e; those of `keep` stay as they are."""
    if text.isprintable():  # nearly every text
        return text
    return "".join(_shown(letter) if letter not in keep else letter for letter in text)


def _shown(letter: str) -> str:
    if category(letter) not in _UNSEEN or letter in _JOINERS:
        return letter
    return escaped(letter)
