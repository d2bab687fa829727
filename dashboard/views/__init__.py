"""Streamlit pages: layout only; queries and charts live beside this package."""
