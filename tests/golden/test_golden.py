"""Figures change only with their method's version: then raise it and run `python -m tests.golden`."""

import json

import pytest

from tests.golden import __main__
from tests.golden.comparing import differences, path_of
from tests.golden.figures import KEPT, plain


@pytest.mark.parametrize("name", KEPT)
def test_figures_are_those_of_the_methods_version(name):
    make, _, close = KEPT[name]
    kept = json.loads(path_of(name).read_text(encoding="utf-8"))
    changed = differences(kept["figures"], plain(make()), close)
    moved = [change for change in changed if not change.endswith(": new")]
    assert not moved, f"{len(moved)} figures changed; raise METHOD_VERSION, then python -m tests.golden"
    assert not changed, "new figures: run python -m tests.golden (a raised version has old captures measured)"


def test_figures_that_changed_are_kept_only_with_a_new_version(tmp_path, monkeypatch, capsys):
    made = {"figures": 1.0, "version": 3}
    monkeypatch.setattr(__main__, "KEPT", {"x": (lambda: made["figures"], lambda: made["version"], 1e-6)})
    monkeypatch.setattr(__main__, "path_of", lambda name: tmp_path / f"{name}.json")
    assert __main__.main() == 0
    made["figures"] = 1.1
    assert __main__.main() == 1
    assert "raise METHOD_VERSION first" in capsys.readouterr().out
    made["version"] = 4
    assert __main__.main() == 0
    kept = (tmp_path / "x.json").read_text()
    assert json.loads(kept) == {"version": 4, "figures": 1.1}
    made["version"] = 5  # another method's figures changed: this table stays as it is
    assert __main__.main() == 0
    assert (tmp_path / "x.json").read_text() == kept


def test_a_change_of_any_kind_is_seen():
    kept = {"a": [1.0, None, "x"], "b": {"c": 2}}
    assert differences(kept, {"a": [1.0 + 1e-9, None, "x"], "b": {"c": 2}}, 1e-6) == []
    assert differences(kept, {"a": [1.01, None, "x"], "b": {"c": 2}}, 1e-6) == ["/a/0: 1.0 -> 1.01"]
    assert differences(kept, {"a": [1.0, 0.0, "x"], "b": {"c": 2}}, 1e-6) == ["/a/1: None -> 0.0"]
    assert differences(kept, {"a": [1.0, None, "x"], "b": {}}, 1e-6) == ["/b/c: gone"]
    assert differences(kept, {"a": [1.0, None], "b": {"c": 2}}, 1e-6)
