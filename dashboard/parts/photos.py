"""Photos of a visit: taken in after it is stored, shown with the pump's history and on the visit sheet."""

from __future__ import annotations

import base64
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, say
from dashboard.words import formats
from ingest.errors import PumpledgerError
from ingest.wording.language import phrase

SHOWS = {"visit": "Photo", "clamp_point": "Where it was clamped"}


def take(visit_id: int, by: str) -> None:
    """Offer to add photos to a visit, and show those it has."""
    with st.expander(phrase("Photos")):
        show(loaders.ask("photos_of_visit", visit_id=visit_id))
        with st.form(f"photos_{visit_id}", border=False, clear_on_submit=True):
            shows = st.segmented_control(
                phrase("What they show"), list(SHOWS), default="visit", key=f"photo_shows_{visit_id}",
                format_func=lambda name: phrase(SHOWS[name]),
            )  # fmt: skip
            files = st.file_uploader(
                phrase("JPEG, PNG or WebP, up to 10 MB each"), accept_multiple_files=True,
                key=f"photo_files_{visit_id}",
            )  # fmt: skip
            if st.form_submit_button(phrase("Keep the photos"), width="stretch") and files:
                _keep(visit_id, files, str(shows or "visit"), by)


def _keep(visit_id: int, files: list[Any], shows: str, by: str) -> None:
    from ingest.visit.photos import add_photo

    for file in files:
        try:
            add_photo(
                loaders.ledger_path(), visit_id, file.name, file.getvalue(), shows=shows,
                author=access.author(by),
            )  # fmt: skip
        except PumpledgerError as refused:
            say.refuse(refused.text)
            return
    st.rerun()


def show(photos: pd.DataFrame) -> None:
    """Draw photos, three in a row, each with its day and what it shows."""
    for start in range(0, len(photos), 3):
        row = photos.iloc[start : start + 3].to_dict("records")
        for place, photo in zip(st.columns(3), row, strict=False):
            day = f"{formats.day(photo['visited_on'])}, " if "visited_on" in photo else ""
            place.image(bytes(photo["picture"]), caption=f"{day}{phrase(SHOWS[photo['shows']])}")


def on_paper(photos: pd.DataFrame) -> list[tuple[str, str]]:
    """Return photos as pictures of a sheet: title and markup that needs nothing from outside."""
    return [
        (
            phrase(SHOWS[photo["shows"]]),
            "<img style='max-width:100%;max-height:9cm' alt='' src='data:image/jpeg;base64,"
            f"{base64.b64encode(bytes(photo['picture'])).decode()}'>",
        )
        for photo in photos.to_dict("records")
    ]
