"""Photos of a visit: small on arrival, without what a camera wrote beside them, kept with the ledger."""

import io
from datetime import date, timedelta

import pytest
from PIL import Image

from dashboard.parts.photos import on_paper
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.export import export_ledger
from ingest.ledger.backup import backup
from ingest.ledger.connection import open_ledger
from ingest.ledger.forgetting import forget_names, forget_overdue
from ingest.ledger.settings import set_setting
from ingest.readers.photo import LONGEST_PX, MOST_BYTES, read_photo
from ingest.visit.photos import add_photo
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page

NORTH = Author("Nora", "manager", ("North",))


def jpeg(width=2400, height=1200, *, exif=True, form="JPEG"):
    picture = Image.new("RGB", (width, height), "white")
    picture.paste("black", (0, 0, width // 2, height))
    told = Image.Exif()
    told[0x0112] = 6  # the camera lay on its side (Exif 2.3, Orientation)
    told[0x013B] = "Zofia"
    out = io.BytesIO()
    picture.save(out, form, **({"exif": told} if exif else {}))
    return out.getvalue()


def query(ledger, sql, depots=()):
    with open_ledger(ledger, depots=depots) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb", fitted=True)


def test_a_photo_is_shrunk_set_upright_and_says_nothing_beside():
    data = jpeg()
    assert b"Zofia" in data
    kept = read_photo("p.jpg", data)
    assert b"Zofia" not in kept
    with Image.open(io.BytesIO(kept)) as picture:
        assert picture.size == (LONGEST_PX // 2, LONGEST_PX)
        assert not picture.getexif()
        assert picture.getpixel((400, 100))[0] < 60  # what was left is on top
    with Image.open(io.BytesIO(read_photo("p.png", jpeg(40, 20, exif=False, form="PNG")))) as small:
        assert small.size == (40, 20)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\xff" * (MOST_BYTES + 1), "up to 10 MB"),
        (b"not a picture", "no photo"),
        (jpeg()[:3000], "no photo"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "save it as JPEG"),
    ],
)
def test_what_is_no_photo_is_refused_in_a_sentence(data, said):
    with pytest.raises(EntryRefused, match=said):
        read_photo("x.jpg", data)


def test_photos_go_with_backup_export_and_forgetting_and_are_seen_by_their_depot(ledger, tmp_path):
    number = add_photo(ledger, 1, "a.jpg", jpeg(), author=ANYBODY)
    assert add_photo(ledger, 1, "again.jpg", jpeg(), author=ANYBODY) == number
    add_photo(ledger, 40, "b.jpg", jpeg(60, 30), author=ANYBODY, shows="clamp_point")
    with pytest.raises(EntryRefused, match="no visit 999"):
        add_photo(ledger, 999, "a.jpg", jpeg(60, 30), author=ANYBODY)
    with pytest.raises(EntryRefused):
        add_photo(ledger, 40, "c.jpg", jpeg(90, 30), author=NORTH)
    assert query(ledger, "SELECT visit_id FROM photo", ("North",)) == [(1,)]
    copy = backup(ledger, tmp_path / "copy.duckdb").path
    assert query(copy, "SELECT count(*) FROM photo") == [(2,)]
    exported = export_ledger(ledger, tmp_path / "out")
    assert exported.photos == 2
    assert (tmp_path / "out" / "photos" / f"visit_1_{number}.jpg").read_bytes().startswith(b"\xff\xd8")
    [(picture,)] = query(ledger, f"SELECT picture FROM photo WHERE photo_id = {number}")
    with open_ledger(ledger) as connection:
        [(_, markup)] = on_paper(connection.execute("SELECT * FROM photo WHERE visit_id = 1").df())
    assert markup.startswith("<img")
    assert len(markup) > len(picture)
    name = ANYBODY.name
    forget_names(ledger, [name], author=ANYBODY, dry_run=False)
    assert query(ledger, "SELECT DISTINCT taken_by FROM photo") == [(None,)]
    set_setting(ledger, "keep_photos_days", 30, author=ANYBODY, reason="house rule")
    later = date.today() + timedelta(days=60)
    forget_overdue(ledger, author=ANYBODY, dry_run=False, today=later)
    assert query(ledger, "SELECT count(picture) FROM photo") == [(0,)]


def test_a_pumps_history_shows_them(ledger, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    add_photo(ledger, 1, "a.jpg", jpeg(60, 30), author=ANYBODY)
    page = open_page("pump_history", pump="1", history_part="Visits")
    assert "Photos" in [heading.value for heading in page.subheader]
