"""Plan board."""

import streamlit as st

st.title("Plan board")
