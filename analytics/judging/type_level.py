"""The level of a pump's type: what this fleet's pumps of one part number draw in one engine state."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import duckdb
import pandas as pd

from ingest.ledger.statements import statement


def with_type_level(
    connection: duckdb.DuckDBPyConnection,
    visits: pd.DataFrame,
    until: Any,
    types: Iterable[str] | None = None,
) -> pd.DataFrame:
    """Add to each visit `type_a`, the median average current (A) of its type in its state up to a day, and
    `type_pumps`, the number of pumps that rests on; both unknown for a pump of unknown type.

    visits: rows with pump_type and state (those of the view visit_detail). types: the only ones wanted.
    """
    types = [str(name) for name in (visits["pump_type"].dropna().unique() if types is None else types)]
    levels = connection.execute(statement("visit/type_level"), {"types": types, "until": until}).df()
    named = visits.assign(state=visits["state"].fillna(""))
    found = named[["pump_type", "state"]].merge(levels, how="left", on=["pump_type", "state"])
    return visits.assign(type_a=found["type_a"].to_numpy(), type_pumps=found["type_pumps"].to_numpy())
