"""Costs."""

import streamlit as st

st.title("Costs")
