"""Figures and codes in, text as people read it out; no Streamlit."""
