"""The dashboard's entry script: it only routes. Layout is in views/, figures come from the layers below."""

import sys
from pathlib import Path

import streamlit as st

ROOT = str(Path(__file__).parents[1])
if ROOT not in sys.path:  # Streamlit puts this folder, not its parent, on the path
    sys.path.insert(0, ROOT)

from dashboard.data.depots import bind  # noqa: E402
from dashboard.data.loaders import warm_up  # noqa: E402
from dashboard.shell import address, language, paper_tables  # noqa: E402
from dashboard.shell.access import current_person  # noqa: E402
from dashboard.shell.frame import name_age, name_invented, plain_errors, show  # noqa: E402
from dashboard.shell.navigation import pages_for  # noqa: E402

ICON = Path(__file__).with_name("theme") / "icon.png"

st.set_page_config(page_title="pumpledger", page_icon=str(ICON), layout="wide")
warm_up()
person = current_person()
bind(person.depots, signed_in=person.role is not None)
pages = [
    st.Page(
        entry.path,
        title=language.in_menu(entry.address, entry.title),
        url_path=entry.address or None,
        default=not entry.address,
    )
    for entry in pages_for(person.role)
]
page = st.navigation(pages, position="top")
show(person)
with plain_errors(), language.drawn(page.url_path):
    address.arrive(page.url_path)
    name_invented()
    name_age()
    page.run()
    address.leave()
    paper_tables.leave()
