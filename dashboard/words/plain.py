"""Text from data as text: whatever a serial, a note or a name holds, a page shows its characters.

The framework reads most of what it is given as Markdown with additions of its own: links, pictures, colours,
icons, formulas, emoji by name. Here every character that could begin one of them is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

# CommonMark 0.31.2, section 2.4: a backslash before any of these makes it plain.
_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")
_HARMLESS = set("!\"%',/;=?@")  # begin nothing by themselves, and stay readable
_NAMED_SIGN = re.compile(r":(?=[\w+-]+:)")  # emoji are looked for after escapes are taken off
_BARE_ADDRESS = re.compile(r"(?i)\b(https?|ftp|mailto)(?=:)|\b(www)(?=\.)|(?<=\w)@(?=\w)")
_JOINER = "\u2060"  # no width; keeps what stands on both sides of it apart


def plain(text: object) -> str:
    """Return `text` such that Markdown shows its characters, each line break as one blank."""
    said = " ".join(str(text).split())
    said = _BARE_ADDRESS.sub(lambda m: m[0] + _JOINER, said)
    said = _NAMED_SIGN.sub(":" + _JOINER, said)
    said = re.sub(r"^(\d+)([.)])", rf"\1{_JOINER}\2", said)  # a numbered list begins with these
    return _PUNCTUATION.sub(lambda m: m[0] if m[0] in _HARMLESS else "\\" + m[0], said)


def bullets(lines: Iterable[object]) -> str:
    """Return a Markdown list of plain lines."""
    return "\n".join(f"- {plain(line)}" for line in lines)
