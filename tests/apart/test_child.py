"""A child may die, dally or swell: the process that asks gets an exception, and the next answer."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import textwrap
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from ingest.apart.child import ChildEnded, Children
from ingest.apart.frames import BrokenFrame, read_frame, write_frame

ROOT = Path(__file__).parents[2]
LONG_S = 120.0


@pytest.fixture
def children():
    made = Children("tests.apart.a_child")
    yield made
    made.close()


def asked(children, do, body=b"", wall_s=LONG_S, **how):
    return children.ask({"do": do}, body, wall_s, **how)


def test_bytes_come_back_and_one_child_is_kept_warm(children):
    body = np.random.default_rng(1).bytes(3_000_000)
    first, echoed = asked(children, "echo", body)
    assert echoed == body
    assert asked(children, "echo")[0]["pid"] == first["pid"] != os.getpid()


@pytest.mark.parametrize(("do", "how"), [("abort", "SIGABRT"), ("exit", "status 3")])
def test_a_child_that_dies_is_an_exception_and_is_replaced(children, do, how):
    before = asked(children, "echo")[0]["pid"]
    with pytest.raises(ChildEnded, match=how) as ended:
        asked(children, do)
    assert not ended.value.over_time
    assert asked(children, "echo")[0]["pid"] != before


@pytest.mark.parametrize("do", ["sleep", "kill parent's patience"])
def test_a_child_that_dallies_is_ended_by_the_clock(children, do):
    asked(children, "echo")  # started
    with pytest.raises(ChildEnded) as ended:
        asked(children, do, wall_s=0.5)
    assert ended.value.starved
    assert not ended.value.over_time
    assert asked(children, "echo")[0]["do"] == "echo"


@pytest.mark.skipif(sys.platform != "linux", reason="limits are the system's")
def test_a_child_that_spins_is_ended_by_its_own_limit(children):
    with pytest.raises(ChildEnded) as ended:
        asked(children, "spin")
    assert ended.value.over_time


@pytest.mark.skipif(sys.platform != "linux", reason="limits are the system's")
def test_a_child_gets_no_more_memory_than_it_may_have(children):
    assert asked(children, "hoard")[0]["held"] is None


def test_what_a_child_prints_is_no_part_of_its_answer(children):
    assert asked(children, "print")[0]["do"] == "print"


def test_a_child_whose_answer_is_not_sound_is_replaced(children):
    first = asked(children, "echo", sound=lambda answer: False)[0]["pid"]
    assert asked(children, "echo")[0]["pid"] != first


def test_a_child_made_ready_answers_the_first_question(children):
    children.get_ready()
    ready = children._warm.process.pid
    children.get_ready()
    assert asked(children, "echo")[0]["pid"] == ready


def test_threads_get_their_own_answers(children):
    with ThreadPoolExecutor(8) as threads:
        bodies = [bytes([k]) * 100_000 for k in range(24)]
        answers = list(threads.map(lambda body: asked(children, "echo", body)[1], bodies))
    assert answers == bodies


def test_no_child_outlives_the_process_that_asked(tmp_path):
    script = """
        import os, sys
        from ingest.apart.child import Children
        children = Children("tests.apart.a_child")
        print(children.ask({"do": "echo"}, b"", 60)[0]["pid"], flush=True)
        if len(sys.argv) > 1:
            os.kill(os.getpid(), 9)
    """
    for how in ([], ["killed"]):
        done = subprocess.run(
            [sys.executable, "-c", textwrap.dedent(script), *how],
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            check=False,
        )
        pid = int(done.stdout)
        assert ended_soon(pid), f"child {pid} is still there"


def ended_soon(pid: int) -> bool:
    import time

    for _ in range(600):
        try:
            state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
        except OSError:
            return True
        if state == "Z":  # ended; nobody here collects it
            return True
        time.sleep(0.1)
    return False


def test_modules_in_the_current_folder_are_not_imported(tmp_path, monkeypatch, children):
    (tmp_path / "json.py").write_text("raise SystemExit('run from a folder of captures')")
    monkeypatch.chdir(tmp_path)
    assert asked(children, "echo")[0]["do"] == "echo"


@pytest.mark.parametrize(
    "bad",
    [b"PLF1", b"no frame at all.....", b"PLF1\xff\xff\xff\xff" + bytes(8), b"PLF1\1\0\0\0" + bytes(8) + b"{"],
)
def test_what_is_no_whole_frame_is_refused(bad):
    with pytest.raises(BrokenFrame):
        read_frame(io.BytesIO(bad))


def test_frames_carry_numpy_numbers_and_end_with_the_pipe():
    pipe = io.BytesIO()
    write_frame(pipe, {"a": np.float64(0.1), "n": np.int64(3)}, memoryview(b"xyz"))
    pipe.seek(0)
    assert read_frame(pipe) == ({"a": 0.1, "n": 3}, b"xyz")
    assert read_frame(pipe) is None
