"""Small cases that have hurt people reading captures: each is one instance of a kind."""

import codecs

import numpy as np
import pytest

from ingest.errors import CaptureRefused
from ingest.readers.capture_file import read_capture_bytes
from ingest.readers.text import read_layout
from tests.readers.dialects.scenario import printed, rows, times, waveform

T, I = times(400), waveform(400)  # noqa: E741


def notes_of(capture):
    return {note.code: note for note in capture.notes}


def test_bad_number_is_named_by_its_own_row_not_a_good_earlier_cell():
    lines = [f"{t:.7f};{i:.2f}".replace(".", ",") for t, i in zip(T, I, strict=True)]
    lines[2] = lines[2].split(";")[0] + ";1.234,56"
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.csv", "\n".join(lines).encode())
    assert refused.value.code == "thousands-mark"
    assert "row 3: '1.234,56'" in refused.value.text


def test_byte_order_mark_does_not_join_the_first_name():
    data = codecs.BOM_UTF8 + ("Time,CH1\n" + rows(T, I)).encode()
    _, _, preamble = read_layout(data)
    assert preamble.names == ("Time", "CH1")


def test_rows_not_in_time_order_name_the_first():
    order = np.arange(400)
    order[[100, 200]] = 200, 100
    text = "time (s),current (A)\n" + rows(T[order], I[order])
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.csv", text.encode())
    assert refused.value.code == "time-order"
    assert "row 103" in refused.value.text  # a header line, then sample 100 is too late, 101 goes back


def test_values_only_ask_for_the_interval():
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.csv", rows(I).encode())
    assert refused.value.code == "sample-rate-needed"
    assert "--sample-rate" in refused.value.text


def test_off_stretch_is_kept_for_the_zero():
    current = np.where(np.arange(400) < 100, 0.18, I + 0.18)
    capture = read_capture_bytes("a.csv", ("time (s),current (A)\n" + rows(T, current)).encode())
    np.testing.assert_allclose(capture.current_a, current, atol=1e-6)


def test_reversed_clamp_turns_the_off_stretch_over_too():
    current = np.where(np.arange(400) < 100, 0.18, -I)
    capture = read_capture_bytes("a.csv", ("time (s),current (A)\n" + rows(T, current)).encode())
    assert "reversed" in notes_of(capture)
    np.testing.assert_allclose(capture.current_a, -current, atol=1e-6)


def test_current_about_zero_is_ac_coupled_and_not_turned_over():
    swing = 5 * (I - I.mean())
    capture = read_capture_bytes("a.csv", ("time (s),current (A)\n" + rows(T, swing)).encode())
    assert notes_of(capture)["ac-coupled"].level == "warning"
    assert "reversed" not in notes_of(capture)


def test_ac_coupled_vector_without_unit_is_read_when_channel_and_rate_are_given():
    text = "tacho,strom\n" + rows(3 * np.sin(T * 1e3), 0.01 * (I - I.mean()))
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.csv", text.encode())
    assert refused.value.code == "channel-needed"
    capture = read_capture_bytes("a.csv", text.encode(), channel="Strom", sample_rate_hz="20 kS/s")
    assert "ac-coupled" in notes_of(capture)


def test_no_unit_is_noted_when_amperes_were_taken():
    capture = read_capture_bytes("a.csv", ("Time,CH1\n" + rows(T, I)).encode())
    assert notes_of(capture)["unit-assumed"].level == "warning"
    assert "time-unit-assumed" in notes_of(capture)


@pytest.mark.parametrize(
    ("mean", "read"), [(0.4, False), (0.6, True), (4.2, True), (39.0, True), (41.0, False)]
)
def test_no_unit_is_amperes_only_where_a_pump_could_draw_them(mean, read):
    data = ("Time,CH1\n" + rows(T, I * mean / I.mean())).encode()
    if read:
        assert read_capture_bytes("a.csv", data).current_a.mean() == pytest.approx(mean, rel=1e-6)
    else:
        with pytest.raises(CaptureRefused) as refused:
            read_capture_bytes("a.csv", data)
        assert refused.value.code == "unit-needed"


def test_sixty_four_running_samples_are_enough():
    data = ("time (s),current (A)\n" + rows(T[:64], I[:64])).encode()
    assert len(read_capture_bytes("a.csv", data).current_a) == 64


def test_short_run_after_a_long_time_off_is_no_jump():
    current = np.where(np.arange(400) < 300, 0.001, I)
    capture = read_capture_bytes("a.csv", ("time (s),current (A)\n" + rows(T, current)).encode())
    assert len(capture.current_a) == 400


def test_inrush_is_no_jump_and_no_probe_fault():
    current = I + 18 * np.exp(-np.arange(400) / 60)
    assert read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(T, current)).encode()).notes


def test_two_words_for_one_day_are_not_guessed_and_a_clear_date_is_kept():
    head = "Date,{}\nVertical Units,A\nTIME,CH1\n"
    clear = read_capture_bytes("a.csv", (head.format("25/09/2019") + rows(T, I)).encode())
    doubtful = read_capture_bytes("a.csv", (head.format("05/09/2019") + rows(T, I)).encode())
    assert (clear.captured_at.month, clear.captured_at.day) == (9, 25)
    assert doubtful.captured_at is None


def test_printed_digits_are_not_jitter_and_jitter_is_not_rounding():
    rounded = read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(printed(T, ".5f"), I)).encode())
    assert "resampled" not in notes_of(rounded)
    rng = np.random.default_rng(5)
    stamps = printed(T + rng.uniform(0, 2e-5, 400), ".9f")
    jittered = read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(stamps, I)).encode())
    assert "Steps vary from" in notes_of(jittered)["resampled"].text


def test_gaps_are_counted_with_the_first_row():
    cells = printed(I, ".6f")
    cells[10] = cells[20] = "∞"
    cells[30] = "---"
    capture = read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(T, cells)).encode())
    assert int(np.isnan(capture.current_a).sum()) == 3
    text = notes_of(capture)["overflow"].text
    assert "3 samples" in text
    assert "row 12" in text
    assert "2 of them overflow marks" in text


def test_a_spark_in_a_long_record_is_no_fault():
    count = 300_000
    current = np.resize(I, count)
    current[150_000:150_003] = 60.0
    data = ("Sample rate: 20 kS/s\nI (A)\n" + "\n".join(f"{i:.3f}" for i in current)).encode()
    capture = read_capture_bytes("a.csv", data)
    assert len(capture.current_a) == count


def test_change_of_unit_in_a_long_record_names_the_row():
    current = np.resize(I, 100_000)
    current[70_000:] /= 1_000
    data = ("Sample rate: 20 kS/s\nI (A)\n" + "\n".join(f"{i:.6f}" for i in current)).encode()
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.csv", data)
    assert refused.value.code == "thousandfold-jump"
    assert "from row 70003 on the values are about a thousandth of" in refused.value.text


@pytest.mark.parametrize(("promised", "said"), [(400, False), (500, True)])
def test_a_file_with_fewer_rows_than_its_header_speaks_of_may_be_cut_short(promised, said):
    rows = "\n".join(f"{i * 1e-4:.4f},{5 + i % 7 / 10}" for i in range(400))
    text = f"samples,{promised}\ntime (s),current (A)\n{rows}\n"
    notes = {n.code: n.text for n in read_capture_bytes("cut.csv", text.encode()).notes}
    assert ("rows-missing" in notes) == said
    if said:
        assert "500 samples and 400 are there" in notes["rows-missing"]
