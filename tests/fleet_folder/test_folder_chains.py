"""Which captures of a folder follow one another on one pump, and what each is told of the one before."""

from ingest.chains.chain import CaptureResult, measure_chain
from ingest.fleet_folder.folder_chains import chains_of
from ingest.fleet_folder.loading import load_folder, read_folder
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import write_folder

FOLDER = {
    "pumps": """unit,position,pump_type,serial,fitted_on,removed_on
                A,main,P1,S1,2023-01-01,2024-03-10
                A,main,P1,S2,2024-03-10,
                B,front,P1,,,
                B,rear,P1,,,""",
    "pump_types": "pump_type,segments,current_low_a,current_high_a\nP1,8,4,7",
    "visits": """unit,position,visited_on,serial,state,capture,rpm
                 A,main,2024-02-01,,idle,a2.csv,
                 A,main,2024-01-01,,idle,a1.csv,
                 A,main,2024-03-10,,idle,a3.csv,
                 A,main,2024-04-01,,idle,a4.csv,
                 A,main,2024-05-01,,idle,,6100
                 A,main,2024-06-01,,idle,a5.csv,
                 A,main,2024-07-01,S2,idle,a6.csv,
                 B,front,2024-01-01,,idle,b1.csv,
                 B,rear,2024-01-02,,idle,b2.csv,""",
}


def names(chains):
    return {tuple(link.name for link in chain.links if link.path) for chain in chains}


def test_a_chain_is_one_pumps_captures_in_order_and_ends_at_its_change(tmp_path):
    folder = write_folder(tmp_path / "f", **FOLDER)
    ledger = tmp_path / "l.duckdb"
    chains, work = chains_of(ledger, folder, read_folder(ledger, folder), store=True)
    together = {("a1.csv", "a2.csv", "a3.csv"), ("a4.csv", "a5.csv"), ("a6.csv",), ("b1.csv",), ("b2.csv",)}
    assert names(chains) == together
    assert work.keep_in == tmp_path / "l.waveforms"
    asked = {}

    def take(link):
        asked[link.name] = link.known.previous_rpm
        return CaptureResult(link.name)

    for chain in chains:
        measure_chain(chain, work, take=take)
    assert asked["a5.csv"] == 6100
    assert {name: rpm for name, rpm in asked.items() if name != "a5.csv"} == dict.fromkeys(
        ("a1.csv", "a2.csv", "a3.csv", "a4.csv", "a6.csv", "b1.csv", "b2.csv")
    )


def test_a_change_that_only_the_ledger_knows_ends_a_chain(tmp_path):
    ledger = tmp_path / "l.duckdb"
    load_folder(ledger, write_folder(tmp_path / "first", pumps=FOLDER["pumps"]), author=ANYBODY)
    later = write_folder(tmp_path / "later", visits=FOLDER["visits"])
    chains, _ = chains_of(ledger, later, read_folder(ledger, later), store=False)
    assert ("a1.csv", "a2.csv", "a3.csv") in names(chains)
    assert ("a4.csv", "a5.csv") in names(chains)


def test_what_the_ledger_knows_of_a_pump_type_is_told_before_its_captures_are_measured(tmp_path):
    ledger = tmp_path / "l.duckdb"
    types = "pump_type,segments,rpm_low\nP1,8,4000"
    load_folder(ledger, write_folder(tmp_path / "first", pump_types=types), author=ANYBODY)

    def told(folder):
        chains, _ = chains_of(ledger, folder, read_folder(ledger, folder), store=False)
        return {(link.known.segments, link.known.rpm_low) for chain in chains for link in chain.links}

    pumps, visits = FOLDER["pumps"], FOLDER["visits"]
    assert told(write_folder(tmp_path / "pumps", pumps=pumps, visits=visits)) == {(8, 4000)}
    more = write_folder(tmp_path / "more", pumps=pumps, visits=visits, pump_types="pump_type,segments\nP1,10")
    assert told(more) == {(10, 4000)}  # the folder's word first, beside what only the ledger knows
    load_folder(ledger, write_folder(tmp_path / "second", pumps=pumps), author=ANYBODY)
    assert told(write_folder(tmp_path / "later", visits=visits)) == {(8, 4000)}
