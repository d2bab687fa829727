"""Who writes to the ledger. Every write has an author, and the author's role says what it may change."""

from __future__ import annotations

import getpass
from dataclasses import dataclass, replace

from ingest.typed import LONGEST_NAME, tidy

ROLES = ("technician", "planner", "manager")
# From which role on somebody may do something; a later role may do all that an earlier one may.
# work: log visits, work and findings, answer questions; notes: where to clamp; correct: put a visit right or
# withdraw it; facts: units and pump types; plan: decide on the board; load: bring folders in; money: see what
# things cost; prices and settings: set them.
FROM_ROLE = {
    "work": "technician",
    "notes": "technician",
    "correct": "planner",
    "facts": "planner",
    "plan": "planner",
    "load": "planner",
    "money": "planner",
    "settings": "manager",
    "prices": "manager",
}


@dataclass(frozen=True)
class Author:
    """One who writes: the name kept beside what they change, their role, the depots they are bound to.

    depots: none named means all of them.
    """

    name: str
    role: str
    depots: tuple[str, ...] = ()

    def may(self, what: str) -> bool:
        """Return whether this author may do something (a key of FROM_ROLE)."""
        return ROLES.index(self.role) >= ROLES.index(FROM_ROLE[what])

    def signing(self, name: str | None) -> Author:
        """Return the same author under the name or initials given at a save, if any were.

        Raises EntryRefused for what can be no name (see ingest.typed).
        """
        return replace(self, name=tidy(name.strip(), "name", LONGEST_NAME)) if name and name.strip() else self


# Where no sign-in is in use, whoever is at this machine; and what the program writes of its own accord.
NO_SIGN_IN = Author("no sign-in", "manager")
PROGRAM = Author("pumpledger", "manager")


def operating_system_user() -> Author:
    """Return the one who runs a command: the user of the operating system."""
    try:
        name = getpass.getuser()
    except (OSError, KeyError, ImportError):  # a user number without a name
        name = "unknown user"
    return Author(name, "manager")
