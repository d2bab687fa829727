"""In how many processes a fleet is judged and decided about, by its size.

For the doors of this program: processes that are begun anew read the first module of whoever asks again.
"""

from __future__ import annotations

from pathlib import Path

from analytics.statements import statement
from ingest.chains.processes import usable_cores
from ingest.chains.running import Where
from ingest.ledger.connection import open_ledger

MANY_PUMPS = 25_000  # in service: what other processes take off is more than they take to begin


def where_by_size(ledger: Path) -> Where | None:
    """Return where to judge and decide about a ledger's pumps: in a process for each core where they are
    many, else None, in this one. Raises LedgerError when there is no ledger."""
    with open_ledger(ledger) as connection:
        [(pumps,)] = connection.execute(statement("pumps_in_service")).fetchall()
    return Where() if pumps > MANY_PUMPS and usable_cores() > 1 else None
