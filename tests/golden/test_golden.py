"""Figures change only with their method's version: then raise it and run `python -m tests.golden`."""

import json

import pytest

from tests.golden.comparing import differences, path_of
from tests.golden.figures import KEPT, plain


@pytest.mark.parametrize("name", KEPT)
def test_figures_are_those_of_the_methods_version(name):
    make, version, close = KEPT[name]
    kept = json.loads(path_of(name).read_text(encoding="utf-8"))
    assert kept["version"] == version(), "run python -m tests.golden"
    changed = differences(kept["figures"], plain(make()), close)
    assert not changed, f"{len(changed)} figures changed without METHOD_VERSION"


def test_a_change_of_any_kind_is_seen():
    kept = {"a": [1.0, None, "x"], "b": {"c": 2}}
    assert differences(kept, {"a": [1.0 + 1e-9, None, "x"], "b": {"c": 2}}, 1e-6) == []
    assert differences(kept, {"a": [1.01, None, "x"], "b": {"c": 2}}, 1e-6) == ["/a/0: 1.0 -> 1.01"]
    assert differences(kept, {"a": [1.0, 0.0, "x"], "b": {"c": 2}}, 1e-6) == ["/a/1: None -> 0.0"]
    assert differences(kept, {"a": [1.0, None, "x"], "b": {}}, 1e-6) == ["/b/c: gone"]
    assert differences(kept, {"a": [1.0, None], "b": {"c": 2}}, 1e-6)
