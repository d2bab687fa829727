"""Thirty people at one server's pages, technicians, planners, managers: errors, lost visits, waits, memory?

Each person is a live connection that asks for pages and runs them as a browser does, without drawing them,
and looks at each for some --rest seconds. A technician opens Log a visit for a unit, types and saves a
meter's visit; a planner goes from the list to a pump and the board; a manager through costs and the record.
Printed are the errors, the visits acknowledged and those in the ledger, each page's median and 95th
percentile until its script is at rest, and the server's processor time and memory.

    python -m tests.benchmarks.thirty_users [--users 30] [--seconds 600] [--rest 20]
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from functools import partial
from itertools import cycle
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Any

import numpy as np
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from websockets.sync.client import connect

from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.upkeep import check_ledger
from tests.browser.browsing import served
from tests.ledger_fixture import build_ledger

UNITS = 1500
PLANNER = ("pumps-by-risk", "pump?pump={pump}", "plan-board", "open-questions", "")
MANAGER = ("costs", "costs?costs_part=Best+age", "forecast-record", "fleet-data")
LONGEST_S = 120


class Person:
    """One live connection, with what its page holds."""

    def __init__(self, address: str):
        self.live = connect(
            address.replace("http", "ws") + "/_stcore/stream", subprotocols=["streamlit"], origin=address,
            max_size=None, open_timeout=LONGEST_S, ping_interval=None,
        ).__enter__()  # fmt: skip
        self.where = self.query = ""
        self.states: dict[str, WidgetState] = {}
        self.widgets: dict[str, Any] = {}
        self.said: list[str] = []

    def open(self, where: str) -> None:
        """Go to a page, as by its address."""
        self.where, _, self.query = where.partition("?")
        self.states = {}
        self.run()

    def put(self, label: str, **value: Any) -> None:
        """Set a widget, and let the page run; raises RuntimeError if the page has no such widget."""
        if label not in self.widgets:
            raise RuntimeError(f"no '{label}' on {self.where}: {' | '.join(self.said)[-200:]}")
        state = WidgetState(id=self.widgets[label].id)
        for name, one in value.items():
            if isinstance(one, list):
                getattr(state, name).data.extend(one)
            else:
                setattr(state, name, one)
        self.states[state.id] = state
        self.run()
        if "trigger_value" in value:
            self.states.pop(state.id, None)

    def run(self) -> None:
        """Run the page to its end; raises RuntimeError for what no page should say."""
        asked = BackMsg()
        asked.rerun_script.query_string = self.query
        asked.rerun_script.page_name = self.where
        asked.rerun_script.widget_states.widgets.extend(self.states.values())
        self.live.send(asked.SerializeToString())
        begun = False
        while True:
            said = ForwardMsg()
            said.ParseFromString(self.live.recv(timeout=LONGEST_S))
            kind = said.WhichOneof("type")
            if kind == "new_session":
                begun = True
                self.widgets, self.said = {}, []
            elif kind == "delta" and said.delta.WhichOneof("type") == "new_element":
                self._see(said.delta.new_element)
            elif (
                kind == "script_finished"
                and begun
                and said.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY
            ):
                break
        if wrong := [text for text in self.said if "Something went wrong" in text]:
            raise RuntimeError(wrong[0][:300])

    def _see(self, element: Any) -> None:
        kind = element.WhichOneof("type")
        thing = getattr(element, kind)
        if kind == "exception":
            raise RuntimeError(f"{thing.type}: {thing.message}"[:300])
        if getattr(thing, "id", ""):
            self.widgets[getattr(thing, "label", "")] = thing
        if text := getattr(thing, "body", ""):
            self.said.append(str(text))


@dataclass
class Seen:
    """What all of them met with."""

    waits: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: Counter[str] = field(default_factory=Counter)
    acknowledged: list[str] = field(default_factory=list)
    memory_mb: list[tuple[float, float]] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    def timed(self, name: str, job: Any) -> None:
        """Do a job and keep how long it took."""
        began = time.monotonic()
        job()
        with self.lock:
            self.waits[name].append(time.monotonic() - began)


def log_visits(person: Person, unit: str, seen: Seen) -> None:
    """Enter a meter's visit of a unit and save it."""
    seen.timed("log-visit", lambda: person.open(f"log-visit?unit={unit}"))
    if "Read it, go on" in person.widgets:  # said once to each connection
        person.put("Read it, go on", trigger_value=True)
    person.put("Engine", string_array_value=["Idle"])
    person.put("From", string_array_value=["Meter only"])
    person.put("Odometer", string_value="50000 mi")
    person.put("Average on the meter, A", string_value="5.5")
    person.put("Your initials", string_value="KB")
    seen.timed("save", lambda: person.put("Save the visit", trigger_value=True))
    if not any("Stored as visit" in text for text in person.said):
        raise RuntimeError(f"not stored: {' | '.join(person.said)[-300:]}")
    with seen.lock:
        seen.acknowledged.append(unit)


def work(address: str, number: int, seen: Seen, units: Any, over: Event, rest_s: float) -> None:
    """Be one person until it is over; a connection that breaks is an error, and is made anew."""
    draw = random.Random(number)
    pages = cycle(PLANNER if number % 3 == 1 else MANAGER)
    person: Person | None = None
    over.wait(draw.uniform(0, 2 * rest_s))
    while not over.is_set():
        try:
            person = person or Person(address)
            if number % 3 == 0:
                with seen.lock:
                    unit = next(units)
                log_visits(person, unit, seen)
            else:
                page = next(pages)
                where = page.format(pump=draw.randint(1, 8))
                seen.timed(page.partition("?")[0] or "today", partial(person.open, where))
        except Exception as error:  # whatever it is, it is counted
            with seen.lock:
                seen.errors[f"{type(error).__name__}: {error}"[:300]] += 1
            if person is not None:
                person.live.close()  # or the server would keep its session
            person = None
        over.wait(draw.uniform(0.5, 1.5) * rest_s)


def server_use() -> tuple[float, float]:
    """Return what this process's children hold, in MB, and the processor time they have had, in s."""
    pages = ticks = 0
    for task in Path("/proc/self/task").iterdir():
        for child in (task / "children").read_text().split():
            try:
                held = int(Path(f"/proc/{child}/statm").read_text().split()[1])
                had = Path(f"/proc/{child}/stat").read_text().rpartition(")")[2].split()[11:15]
            except OSError:
                continue
            pages, ticks = pages + held, ticks + sum(map(int, had))
    return pages * resource.getpagesize() / 1e6, ticks / os.sysconf("SC_CLK_TCK")


def ledger_of_many(path: Path) -> Path:
    """Write a small fitted ledger, and many units whose pumps were never measured."""
    build_ledger(path, fitted=True)
    with open_ledger(path, read_only=False) as con:
        con.execute("BEGIN")
        for i in range(UNITS):
            insert_row(con, "vehicle", {"unit": f"N{i}", "depot": "North"})
            insert_row(con, "pump", {"unit": f"N{i}", "pump_type": "FP-10", "fitted_on": "2025-01-01"})
        con.execute("COMMIT")
    return path


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--users", type=int, default=30)
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--rest", type=float, default=20)
    args = parser.parse_args()
    seen, over = Seen(), Event()
    with tempfile.TemporaryDirectory() as folder:
        ledger = ledger_of_many(Path(folder) / "fleet.duckdb")
        with served(ledger) as address:
            units = iter([f"N{i}" for i in range(UNITS)])
            people = [
                Thread(target=work, args=(address, n, seen, units, over, args.rest))
                for n in range(args.users)
            ]
            began, clients_s, server_s = time.monotonic(), time.process_time(), 0.0
            server_before_s = server_use()[1]
            for one in people:
                one.start()
            while time.monotonic() < began + args.seconds:
                time.sleep(5)
                mb, server_s = server_use()
                seen.memory_mb.append((time.monotonic() - began, mb))
                if len(seen.memory_mb) % 12 == 0:  # for who is killed before the end
                    at_s, mb = seen.memory_mb[-1]
                    told, wrong = len(seen.acknowledged), seen.errors.total()
                    print(f"{at_s:.0f} s: {mb:.0f} MB, {told} visits, {wrong} errors", flush=True)
            used_s, clients_s = server_s - server_before_s, time.process_time() - clients_s
            over.set()
            for one in people:
                one.join()
        with open_ledger(ledger) as con:
            stored = Counter(
                u for (u,) in con.execute("SELECT unit FROM visit WHERE technician = 'KB'").fetchall()
            )
        sound = check_ledger(ledger).sound
    lost = [unit for unit in seen.acknowledged if stored[unit] != 1]
    print(f"{args.users} people, {args.seconds:.0f} s, load average {os.getloadavg()[0]:.1f}")
    print(f"  processor time of {os.cpu_count()} cores: server {used_s:.0f} s, the people {clients_s:.0f} s")
    told = len(seen.acknowledged)
    print(f"  visits: {told} acknowledged, {stored.total()} stored, lost or twice: {lost}; {sound=}")
    for name, waits in sorted(seen.waits.items()):
        p50, p95 = np.quantile(waits, [0.5, 0.95])
        print(f"  {name}: {len(waits)} times, median {p50:.2f} s, p95 {p95:.2f} s")
    for text, times in seen.errors.most_common():
        print(f"  {times} times: {text}")
    marks = [f"{mb:.0f}" for _, mb in seen.memory_mb[:: max(1, len(seen.memory_mb) // 12)]]
    print(f"  memory, MB: {' '.join(marks)}; the last {seen.memory_mb[-1][1]:.0f}")


if __name__ == "__main__":
    main()
