"""Text from data, made harmless where a terminal shows it."""

import re
import unicodedata

LONGEST_FILE_NAME = 256
# Codes that no person types but a terminal may obey, marks that turn the order of letters round, and halves
# of a letter. Tabs and line ends are text.
_STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def steers(text: str) -> bool:
    """Return whether a text holds what is no text but a code; a line may end in CR LF."""
    return bool(_STEERING.search(text.replace("\r", "")))


def harmless(text: str) -> str:
    """Return a text with each code in it shown as the replacement character."""
    return _STEERING.sub("\N{REPLACEMENT CHARACTER}", text.replace("\r\n", "\n"))


def as_file_name(name: str) -> str:
    """Return a file's name as it is kept and shown: on one line, each code and half of a letter as the
    replacement character, letters composed, of a longer one than a file system takes the middle left out."""
    shown = unicodedata.normalize("NFC", re.sub(r"\s", " ", _STEERING.sub("\N{REPLACEMENT CHARACTER}", name)))
    half = LONGEST_FILE_NAME // 2
    return shown if len(shown) <= LONGEST_FILE_NAME else f"{shown[: half - 1]}…{shown[-half:]}"


def escaped(json_text: str) -> str:
    r"""Return JSON with each code in it written \uXXXX: the same JSON, and nothing a terminal obeys."""
    return _STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", json_text)
