"""Links, rows and what a run shares, as JSON holds them: for pipes, for files that wait, for a cluster."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from ingest.capture import Note, described, from_description
from ingest.chains.chain import CaptureResult, Chain, Link, Work
from ingest.known_pump import KnownPump
from ingest.object_path import place
from ingest.reading import Reading, SpeedCandidate
from ingest.waveforms import Encoding, StoredWaveform


def link_as_json(link: Link) -> dict[str, Any]:
    """Return a link as JSON holds it, its path whole."""
    return asdict(link) | {"path": None if link.path is None else str(link.path.absolute())}


def link_from_json(told: dict[str, Any]) -> Link:
    """Return the link that `link_as_json` told of."""
    path = None if told["path"] is None else place(told["path"])
    return Link(**told | {"path": path, "known": KnownPump(**told["known"])})


def chain_as_json(chain: Chain) -> dict[str, Any]:
    """Return a chain as JSON holds it."""
    return {"name": chain.name, "links": [link_as_json(link) for link in chain.links]}


def chain_from_json(told: dict[str, Any]) -> Chain:
    """Return the chain that `chain_as_json` told of."""
    return Chain(told["name"], tuple(link_from_json(link) for link in told["links"]))


def work_as_json(work: Work) -> dict[str, Any]:
    """Return what a run shares as JSON holds it."""
    return {
        "keep_in": str(work.keep_in.absolute()) if work.keep_in else None,
        "known": dict(work.known),
        "flush": work.flush,
    }


def work_from_json(told: dict[str, Any]) -> Work:
    """Return what `work_as_json` told of."""
    return Work(place(told["keep_in"]) if told["keep_in"] else None, told["known"], told["flush"])


def row_as_json(row: CaptureResult) -> dict[str, Any]:
    """Return a row as JSON holds it."""
    return {
        "name": row.name,
        "capture_hash": row.capture_hash,
        "about": described(row.about) if row.about else None,
        "reading": asdict(row.reading) if row.reading else None,
        "stored": asdict(row.stored) | {"path": str(row.stored.path)} if row.stored else None,
        "refused": row.refused,
        "picture": list(row.picture),
        "made_of": row.made_of,
    }


def row_from_json(told: dict[str, Any]) -> CaptureResult:
    """Return the row that `row_as_json` told of."""
    about, reading, stored = told["about"], told["reading"], told["stored"]
    return CaptureResult(
        told["name"],
        told["capture_hash"],
        from_description(about, np.empty(0)) if about else None,
        _reading(reading) if reading else None,
        StoredWaveform(**stored | {"path": place(stored["path"]), "encoding": Encoding(**stored["encoding"])})
        if stored
        else None,
        told["refused"],
        tuple(told["picture"]),
        told["made_of"],
    )


def _reading(told: dict[str, Any]) -> Reading:
    return Reading(
        **told
        | {
            "notes": tuple(Note(**note) for note in told["notes"]),
            "speed_candidates": tuple(SpeedCandidate(**each) for each in told["speed_candidates"]),
            "segment_profile_pct": tuple(told["segment_profile_pct"]),
        }
    )
