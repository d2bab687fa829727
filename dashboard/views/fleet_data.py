"""Fleet data."""

import streamlit as st

st.title("Fleet data")
