"""Names and what is overdue are removed everywhere, first only told, and no later load brings them back."""

import errno
import os
import struct
import zlib
from datetime import date

import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.errors import EntryRefused, LedgerError
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.one_fact import CONNECTION_NOTES, add_facts
from ingest.ledger import forgetting
from ingest.ledger.backup import backup
from ingest.ledger.connection import open_ledger
from ingest.ledger.forgetting import forget_names, forget_overdue
from ingest.ledger.settings import set_setting
from ingest.ledger.tables import table_names
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.pictures import without_metadata
from ingest.visit.corrections import correct_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waiting import keep_rows, waiting_folder
from ingest.waveforms import load_waveform, waveform_folder
from tests.authors import ANYBODY
from tests.ledger_fixture import copied

NAME, SHORT = "Ann Quixby", "QXB"


def png(*texts):
    """A picture of one dot with texts beside it (PNG Specification, section 11)."""

    def chunk(kind, content):
        return (
            struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        )

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    beside = b"".join(chunk(b"tEXt", text) for text in texts)
    return b"\x89PNG\r\n\x1a\n" + head + beside + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")


def jpeg(*comments):
    """The frame of a JPEG file with comments and Exif beside it (ITU-T T.81, annex B)."""

    def segment(kind, content):
        return b"\xff" + kind + struct.pack(">H", len(content) + 2) + content

    beside = b"".join(
        segment(b"\xfe", comment) + segment(b"\xe1", b"Exif\0\0" + comment) for comment in comments
    )
    return b"\xff\xd8" + segment(b"\xe0", b"JFIF\0") + beside + segment(b"\xda", b"\0") + b"dots\xff\xd9"


def test_what_stands_beside_a_picture_is_taken_off_and_the_picture_kept():
    assert without_metadata(png(b"Author\0Ann")) == png()
    assert without_metadata(jpeg(b"Ann")) == jpeg()
    assert without_metadata(png() + b"trailing Ann") == png()
    assert without_metadata(b"GIF89a Ann") == b"GIF89a Ann"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "folder"
    folder.mkdir()
    (folder / "vehicles.csv").write_text("unit,depot\n214,North\n")
    (folder / "visits.csv").write_text(
        "unit,visited_on,odometer,mean_a,technician,note\n"
        f"214,2026-01-05,1000,5.1,{SHORT},seen by {NAME}; QXBs stay\n"
        f"214,2026-04-05,6000,5.2,TK,{SHORT}: hums\n"
    )
    path = folder.with_name("fleet.duckdb")
    load_folder(path, folder, author=ANYBODY.signing(SHORT))
    wave = Capture(
        np.round(5 + np.random.default_rng(1).normal(0, 0.1, 500), 3), 20_000.0, source=f"{SHORT}_1.csv"
    )
    entry = VisitEntry("214", odometer_km=12_000.0, visited_on=date(2026, 7, 5), technician=SHORT)
    answers = dict.fromkeys(("odometer-too-far", "odometer-fast", "date-old"), f"asked {NAME}")
    log_visit(path, entry, wave, meter_reading(5.1), answers, author=ANYBODY, most_questions=0)
    correct_visit(path, 1, {"supply_v": 13.0}, author=ANYBODY.signing(NAME), reason=f"{NAME} read it again")
    values = {"make": "Alder", "note": f"ask {SHORT}", "picture": png(b"Author\0x"), "picture_type": "png"}
    add_facts(path, CONNECTION_NOTES, values, author=ANYBODY, reason="new")
    with open_ledger(path, read_only=False) as con:  # kept before pictures were bared at the door
        con.execute("UPDATE connection_note SET picture = ?", [png(f"Author\0{NAME}".encode())])
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


@pytest.fixture
def folder(ledger):
    return ledger.with_name("folder")


def everything(ledger):
    with open_ledger(ledger) as con:
        cells = "\n".join(str(con.execute(f"SELECT * FROM {name}").fetchall()) for name in table_names(con))
        hashes = [h for (h,) in con.execute("SELECT capture_hash FROM capture").fetchall()]
    return cells + "".join(str(load_waveform(ledger, h).source) for h in hashes)


def in_files(ledger, name):
    files = [ledger, *waveform_folder(ledger).glob("*.parquet")]
    return [path.name for path in files if name.encode() in path.read_bytes()]


def test_a_dry_run_counts_and_changes_nothing(ledger):
    before = everything(ledger)
    found = forget_names(ledger, [NAME, SHORT], author=ANYBODY, dry_run=True)
    assert found.cells["visit.technician"] == 2
    assert found.cells["visit.note"] == 2
    assert found.waveforms == found.pictures == 1
    assert everything(ledger) == before


@pytest.mark.of_a_file
def test_names_are_gone_from_tables_log_metadata_pictures_and_the_files_bytes(ledger, folder):
    assert in_files(ledger, NAME)
    keep_rows(waiting_folder(ledger), "a pump", [{"source": NAME}])
    forget_names(ledger, [NAME, SHORT], author=ANYBODY, dry_run=False)
    assert not waiting_folder(ledger).exists()
    for name in (NAME, SHORT):
        assert name not in everything(ledger).replace("QXBs", "")
    assert in_files(ledger, NAME) == []
    with open_ledger(ledger) as con:
        assert con.execute("SELECT technician, note FROM visit ORDER BY visited_on").fetchall() == [
            (None, "seen by [removed]; QXBs stay"), ("TK", "[removed]: hums"), (None, None),
        ]  # fmt: skip
        assert con.execute("SELECT file_name FROM capture").fetchall() == [("[removed]_1.csv",)]
        assert bytes(con.execute("SELECT picture FROM connection_note").fetchall()[0][0]) == png()
    assert check_ledger(ledger).sound


def test_a_disk_full_half_way_is_a_sentence_and_the_same_again_ends_it(ledger, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(forgetting, "rename_source", full)
        with pytest.raises(LedgerError, match=r"run the same again\. No space left") as said:
            forget_names(ledger, [NAME, SHORT], author=ANYBODY, dry_run=False)
    assert said.value.code == "not-written-anew"
    assert SHORT in everything(ledger).replace("QXBs", "")
    forget_names(ledger, [NAME, SHORT], author=ANYBODY, dry_run=False)
    assert SHORT not in everything(ledger).replace("QXBs", "")
    assert in_files(ledger, NAME) == []


def test_no_later_load_brings_them_back(ledger, folder):
    forget_names(ledger, [NAME, SHORT], author=ANYBODY, dry_run=False)
    before = everything(ledger)
    report = load_folder(ledger, folder, author=ANYBODY)
    assert sum(table.changed for table in report.tables) == 0
    for name in (NAME, SHORT):
        assert name not in everything(ledger).replace("QXBs", "")
    with open_ledger(ledger) as con:
        assert con.execute("SELECT count(*) FROM visit").fetchall() == [(3,)]
    assert before.count("[removed]") == everything(ledger).count("[removed]")


def test_backups_are_named_as_keeping_them(ledger, capsys):
    made = backup(ledger)
    assert main(["forget", SHORT, "--ledger", str(ledger)]) == 0
    said = capsys.readouterr().out
    assert "Would be removed" in said
    assert f"backups/{made.path.name}" in said
    assert main(["forget", SHORT, "--really", "--ledger", str(ledger)]) == 0
    assert in_files(made.path, SHORT)


@pytest.mark.parametrize("names", [[], [" "], ["A"], ["x" * 5000]])
def test_a_name_that_is_none_is_refused(ledger, names):
    with pytest.raises(EntryRefused):
        forget_names(ledger, names, author=ANYBODY, dry_run=False)


def test_what_is_overdue_goes_and_the_rest_stays(ledger, folder):
    for key in ("keep_initials_days", "keep_waveforms_days"):
        set_setting(ledger, key, 100, author=ANYBODY, reason="our rule")
    today = date(2026, 7, 20)
    told = forget_overdue(ledger, author=ANYBODY, dry_run=True, today=today)
    assert told.cells["visit.technician"] == 2
    assert told.waveforms == 0
    forget_overdue(ledger, author=ANYBODY, dry_run=False, today=today)
    with open_ledger(ledger) as con:
        names = con.execute("SELECT technician FROM visit ORDER BY visited_on").fetchall()
    assert names == [(None,), (None,), (SHORT,)]
    load_folder(ledger, folder, author=ANYBODY, today=today)
    with open_ledger(ledger) as con:
        assert con.execute("SELECT technician FROM visit ORDER BY visited_on").fetchall() == names
    found = forget_overdue(ledger, author=ANYBODY, dry_run=False, today=date(2026, 12, 24))
    assert found.waveforms == 1
    assert list(waveform_folder(ledger).glob("*.parquet")) == []
    assert check_ledger(ledger).sound
    assert backup(ledger).whole
    with open_ledger(ledger) as con:
        assert con.execute("SELECT count(*) FROM reading").fetchall() == [(3,)]


def test_nothing_is_overdue_unless_a_setting_says_so(ledger):
    before = everything(ledger)
    found = forget_overdue(ledger, author=ANYBODY, dry_run=True, today=date(2150, 1, 1))
    assert (found.cells, found.lines, found.waveforms) == ({}, 0, 0)
    assert everything(ledger) == before
