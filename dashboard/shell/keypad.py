"""The number keys of a phone for boxes that hold a figure; any other keyboard types letters too."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

# The framework's text box takes no input mode, so it is set on the boxes as they come.
_JS = """
export default function ({ data }) {
  const labels = new Set(data.labels);
  const set = () => {
    for (const box of document.querySelectorAll('[data-testid="stMain"] input'))
      if (labels.has(box.getAttribute('aria-label')) && box.inputMode !== 'decimal')
        box.inputMode = 'decimal';
  };
  set();
  const watch = new MutationObserver(set);
  watch.observe(document.body, { childList: true, subtree: true });
  return () => watch.disconnect();
}
"""
_KEYS = st.components.v2.component("pumpledger_number_keys", html="<span></span>", js=_JS)


def number_keys(labels: Iterable[str]) -> None:
    """Give the boxes of these labels the keys for figures."""
    with st.container(key="number_keys"):
        _KEYS(key="number_keys_of_page", data={"labels": list(labels)})
