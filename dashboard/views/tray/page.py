"""Tray: captures that were taken in, to be confirmed as visits of their units."""

import streamlit as st

from dashboard.shell import access, address, frame, lists, say
from dashboard.views.tray import parts

ROWS_A_PAGE = 25

st.title("Tray")
frame.show_kept()
if access.may("load"):  # a folder is read as the server may: not for everybody who logs visits
    parts.show_taking()
if not frame.started("Take a morning's captures in here once the fleet's units are known."):
    st.stop()
find = st.text_input("Find", placeholder="part of a file's name, or a unit", **address.bound("tray_find"))
asked = {"find": find.strip()}
rows = lists.one_page("tray", "tray", ("file waits", "files wait"), ROWS_A_PAGE, **asked)
if not len(rows):
    say.line("○ The tray is empty." if not find else "No file that waits matches.")
    st.stop()
waiting, refused = rows[rows["status"] == "waiting"], rows[rows["status"] == "refused"]
if len(waiting):
    parts.show_waiting(waiting)
if len(refused):
    parts.show_refused(refused)
parts.show_dropping(rows)
frame.foot(
    "A file's bytes are one visit however often they come. What can't be read waits with the reason and "
    "is taken anew once the file has changed. What is asked of an entry goes to the open questions."
)
