"""Open questions."""

import streamlit as st

st.title("Open questions")
