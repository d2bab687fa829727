"""Text from data is shown as its characters."""

import re

import pytest

from dashboard.words.plain import bullets, plain
from tests.pages.page_runs import seen

# One of each kind that Markdown, or what the framework adds to it, would make something of.
PAYLOADS = (
    "![p](https://elsewhere.example/a.png)",
    "[l](https://elsewhere.example/b)",
    "<img src=https://elsewhere.example/c.png>",
    "https://elsewhere.example/d",
    "www.elsewhere.example/e",
    "a@elsewhere.example",
    "<https://elsewhere.example/f>",
    "# big",
    "**bold** _slanted_ ~~struck~~ `code`",
    ":red[red] :material/home: :smile:",
    "$\\frac{1}{2}$",
    "| a | b |",
    "- point",
    "1. first",
    "> said",
    "    code",
    "[r]: https://elsewhere.example/g",
    "&amp; &#35;",
)


@pytest.mark.parametrize("text", PAYLOADS)
def test_every_character_is_seen(text):
    assert seen(plain(text)) == " ".join(text.split())


@pytest.mark.parametrize("text", PAYLOADS)
def test_nothing_that_opens_markup_stands_unescaped(text):
    rest = re.sub(r"\\.", "", plain(text))
    assert not re.search(r"[*_`~<>\[\]()#|$&{}\\^]|:\w+:|https?:|www\.|\w@\w|^[-+]|^\d+[.)]", rest)


def test_numbers_and_words_stay_as_they_are():
    assert plain("18 % of 1,200 km, unit 101") == "18 % of 1,200 km, unit 101"
    assert plain("a\nb\r\nc") == "a b c"


def test_a_list_holds_one_point_a_line():
    assert bullets(["a\n- b", "c"]) == "- a \\- b\n- c"
