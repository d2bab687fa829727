"""Labels carry the address of their own unit, whatever its name."""

import re

import pytest
import segno

from dashboard.cli import main
from dashboard.parts.labels import address_of, label_sheet
from ingest.errors import EntryRefused
from tests.ledger_fixture import build_ledger

PATH = r'<path[^>]* d="([^"]+)"'


def test_a_label_opens_log_a_visit_for_its_unit():
    assert (
        address_of("7/A é", "https://pumps.example/") == "https://pumps.example/log-visit?unit=7%2FA%20%C3%A9"
    )
    for nowhere in ("", "pumps.example", "file:///x"):
        with pytest.raises(EntryRefused, match="PUMPLEDGER_PUBLIC_URL"):
            address_of("7", nowhere)


def test_names_are_text_on_a_sheet_and_each_code_is_its_own():
    units = [
        {"unit": "<b>1</b>", "depot": "N'rth", "vehicle": None},
        {"unit": "2", "depot": None, "vehicle": "Alder"},
    ]
    html = label_sheet(units, "https://pumps.example", "Labels")
    assert "<b>1</b>" not in html.replace("<b>&lt;b&gt;1", "")
    assert "http" not in re.sub(r'xmlns="[^"]*"', "", html)  # nothing from outside
    assert html.count('viewBox="0 0') == 2  # without it the code keeps a size of its own, too small to read
    paths = re.findall(PATH, html)
    wanted = segno.make_qr(address_of("2", "https://pumps.example"), error="q")
    assert len(set(paths)) == 2
    assert paths[1] == re.findall(PATH, wanted.svg_inline(scale=1, border=4))[0]


def test_the_command_writes_a_depots_sheet(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "fleet.duckdb")
    run = [
        "labels",
        str(tmp_path / "l.html"),
        "--ledger",
        str(ledger),
        "--public-url",
        "https://pumps.example",
    ]
    assert main([*run, "--depot", "North"]) == 0
    assert "4 labels" in capsys.readouterr().out
    assert (tmp_path / "l.html").read_text(encoding="utf-8").count("class='label'") == 4
    assert main([*run, "--depot", "Nowhere"]) == 1
    assert "no unit at Nowhere" in capsys.readouterr().err
