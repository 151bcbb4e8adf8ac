"""Letters that do what they should only say: shown for what they are, wherever a person reads a name or a note.

A terminal obeys control characters; marks of writing direction turn a line round so that a name reads as another; letters
of no width make two names look alike. JSON keeps every text as it is: machines are not misled.
"""

from __future__ import annotations

import re

# Controls, line and paragraph ends, writing direction, letters of no width, tags, and halves of letters (which stand for the
# bytes of a file name that is no text). Joiners stay: some scripts and many pictures are spelt with them.
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff"
    "\U000e0000-\U000e007f]"
)


def visible(text: str) -> str:
    """The text with such letters as escapes: \\n, \\x1b, \\u202e. What has none, or escapes alone, stays as it is."""
    return _HIDDEN.sub(lambda letter: letter[0].encode("unicode_escape").decode("ascii"), text)
