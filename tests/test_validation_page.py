"""The page of what is held against outside sources lists every check."""

from tests.checks.validation import OUTPUT, WITHOUT, modules, words


def test_every_check_stands_on_the_page():
    page = OUTPUT.read_text(encoding="utf-8")
    missing = [name for _, _, names in modules() for name in names if words(name) not in page]
    assert not missing, "run python -m tests.checks.validation"


def test_what_has_no_outside_value_is_listed():
    page = OUTPUT.read_text(encoding="utf-8")
    assert all(what in page for what in WITHOUT)
