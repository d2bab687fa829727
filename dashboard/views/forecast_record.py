"""Forecast record."""

import streamlit as st

st.title("Forecast record")
