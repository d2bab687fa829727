"""Docs quote speeds from one file of results, and say which an older method gave."""

from dataclasses import replace

import pytest

from tests.benchmarks.on_paper import DOC, Inputs, inputs_from, needs, table
from tests.benchmarks.results import (
    OLDER,
    PAGE,
    ROOT,
    Figure,
    Result,
    is_older,
    keep_results,
    method_versions,
    page,
    read_results,
    wrong_quotes,
)
from tests.benchmarks.speeds import ALL

RESULT = Result("a.cpu", 1.94, "s CPU", "a job", "abc", "2026-11-28", "2 cores", "a", "measuring", 3)


def test_results_say_how_they_came_to_be():
    results = read_results()
    methods = {f"tests.benchmarks {name}": method for name, (_, method) in ALL.items()}
    for r in results.values():
        by_itself = r.script.startswith("tests.benchmarks.pages_speed ")  # and no method in it
        of_method = methods[r.script] if not by_itself else None
        assert (r.method is None) == (r.method_version is None) == (of_method is None)
        assert r.value > 0 or r.name.endswith(".growth")
        assert r.commit != "unknown"
        assert r.machine.split(",")[0].endswith("cores")


def test_the_page_is_written_from_the_results():
    """Whatever methods are today's: which of them has moved on is marked when the page is next written."""
    written = PAGE.read_text(encoding="utf-8")
    assert written.replace(OLDER, "") == page(read_results(), method_versions()).replace(OLDER, "")


@pytest.mark.parametrize("path", sorted((ROOT / "docs").glob("*.md")), ids=lambda path: path.name)
def test_quoted_figures_are_those_of_the_results(path):
    assert wrong_quotes(path.read_text(encoding="utf-8"), read_results()) == []


def test_the_table_of_sizes_is_worked_out_from_the_results():
    """It is what `python -m tests.benchmarks` writes."""
    results = read_results()
    assert table(results, inputs_from(results)) in DOC.read_text(encoding="utf-8")


def test_sizes_on_paper_by_hand():
    """A million pumps, 4 visits a year of 250 kB and .36 s each: 4 million captures, 1 TB, 400 core-hours."""
    given = Inputs(
        core_s=0.36, capture_kb=250, visit_bytes=1000, log_ms=18, rank_s=3, rank_gb_20k=0.3, rank_gb_40k=0.4
    )
    n = needs(1_000_000, given)
    assert (n.capture_bytes_a_year, n.ledger_bytes) == pytest.approx((1e12, 8e9))
    assert (n.core_hours_a_year, n.core_hours_again) == pytest.approx((400, 800))
    assert n.writing == pytest.approx(4e6 * 0.018 / 7.2e6)
    assert (n.rank_s, n.rank_gb) == pytest.approx((3 * 50, 0.3 + 0.1 * 49))
    slower = needs(1_000_000, replace(given, log_growth=0.5))
    assert slower.writing == pytest.approx(n.writing * 50**0.5)


def test_what_is_wrong_with_a_quote_is_told():
    results = {"a.cpu": RESULT, "b": replace(RESULT, name="b", value=1234.4)}
    assert wrong_quotes("takes 1.9<!--=a.cpu--> s, 2<!--=a.cpu--> s or 1,234<!--=b-->", results) == []
    assert wrong_quotes("1.8<!--=a.cpu--> 1.95<!--=a.cpu--> 3<!--=c-->", results) == [
        "a.cpu is 1.94, quoted as 1.8",
        "a.cpu is 1.94, quoted as 1.95",
        "c is no result",
    ]


def test_a_result_of_an_older_method_is_marked():
    assert not is_older(RESULT, {"measuring": 3})
    assert is_older(RESULT, {"measuring": 4})
    assert not is_older(replace(RESULT, method=None, method_version=None), {"measuring": 4})
    assert OLDER in page({"a.cpu": RESULT}, {"measuring": 4})
    assert OLDER not in page({"a.cpu": RESULT}, {"measuring": 3})


def test_a_benchmark_run_again_takes_the_place_of_its_own_results_only(tmp_path):
    file = tmp_path / "results.json"
    keep_results([Figure("a.cpu", 1.23456, "s CPU", "a"), Figure("a.old", 1, "", "gone")], "a", None, file)
    keep_results([Figure("b.cpu", 2, "s CPU", "b")], "b", "risk", file)
    keep_results([Figure("a.cpu", 3, "s CPU", "a")], "a", None, file)
    results = read_results(file)
    assert {name: r.value for name, r in results.items()} == {"a.cpu": 3, "b.cpu": 2}
    assert results["b.cpu"].method_version == method_versions()["risk"]
