"""Sentences that name options of a command, for those who have none."""

from __future__ import annotations

import re

OPTION = r"--[a-z]+(-[a-z]+)*"


def without_options(text: str) -> str:
    """Return a sentence without the command's options: on a page and in a table there are none."""
    text = re.sub(rf"\b([Ss])ay {OPTION} with", lambda m: f"{'C' if m[1] == 'S' else 'c'}hoose", text)
    text = re.sub(rf" \({OPTION}( K [^)]*)?\)", "", text)
    text = re.sub(rf",? with {OPTION}(?=[,.( ])", "", text)
    text = re.sub(rf"\bsay {OPTION}", "give it", text)
    return re.sub(rf"{OPTION} ", "", text)
