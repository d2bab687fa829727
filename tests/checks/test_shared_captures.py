"""Captures found in the wild, kept beside the project: each does what the list beside it says, or is refused.

Source of every expected figure: MANIFEST.tsv in the shared captures folder (what, units, rate, truth).
"""

import os
from pathlib import Path

import numpy as np
import pytest

from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.readers.capture_file import read_capture

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared")) / "captures"
pytestmark = pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")

# file: (options, samples or None, rate in Hz, what the values must do)
READ = {
    "mot_dc_universal_10V_tacho.mat": ({"channel": "strom", "sample_rate_hz": "100 kS/s"}, 100_000, 100e3),
    "mot_dc_universal_30V_tacho.mat": ({"channel": "strom", "sample_rate_hz": "100 kS/s"}, 100_000, 100e3),
    "mot_dc_universal_good_ac.mat": ({"sample_rate_hz": "100 kS/s"}, 300_000, 100e3),
    "mot_dc_universal_badbar_ac.mat": ({"sample_rate_hz": "100 kS/s"}, 300_000, 100e3),
    "mot_dc_shunt_machine_3ch_idxcol.csv": ({"channel": "ch 02", "probe": "10.111 mV/A"}, 6_000, 2e3),
    "mot_dc_small_pwm_tacho_dt.csv": ({}, 24_000, 4545.45),
    "mot_startup_flywheel_ch1_amps.csv": ({}, 1_000, 1e3),
    "mot_ac_3ph_nested.parquet": (
        {"channel": "current alpha", "sample_rate_hz": 10_000, "probe": "1V/A"},
        4_000,
        10e3,
    ),
    "bemf_500rpm_in_s_C1_in_V.csv": ({"probe": "1V/A"}, 60_000, 1.086957e6),
    "bemf_sidecols_corrupt_first_cell.csv": ({"probe": "1V/A"}, 2_500, 25e3),
    "sc_sidecols_probe10_zero_padded_neg.csv": ({"probe": "10V/A"}, 2_500, 100e3),
    "sc_noheader_4blocks_of_6.csv": ({"channel": "4", "probe": "1V/A"}, 5_200, 13e3),
    "sc_preamble_peakdetect_coarse_time.csv": ({"probe": "1V/A"}, 19_985, 625e3),
    "sc_semicolon_decimal_comma.csv": ({"channel": "voltage_CH1", "probe": "1V/A"}, 16_384, 2.5e6),
    "sc_start_increment_nocol_2ch.csv": ({"channel": "CH2", "probe": "1V/A"}, 1_200, 50e3),
    "sc_start_increment_missing_units_3ch.csv": (
        {"channel": "CH2", "probe": "1V/A", "sample_rate_hz": "50 kS/s"},
        1_200,
        50e3,
    ),
    "sc_noheader_values_only_one_col.csv": ({"sample_rate_hz": "1 MS/s", "probe": "1V/A"}, 4_000, 1e6),
    "sc_hash_timebase_ps_values_mV.csv": ({"probe": "1000V/A"}, 4_064, 2.5e6),
    "sc_quoted_preamble_leading_comma_V_and_A.csv": ({"channel": "CH1", "probe": "1V/A"}, 10_010, 1e3),
    "sc_missing_values_eng_notation.csv": ({}, 1_892, 100.0),
    "sc_semicolon_comment_preamble.csv": ({"channel": "CH1", "probe": "1V/A"}, 3_200, 10e6),
    "daq_bom_crcrlf_tab_deccomma_german.txt": ({"channel": "Spannung U_B1", "probe": "1V/A"}, None, 10.0),
    "derived_mot_30V_48k_stereo.wav": ({"channel": "CH1", "full_scale": "10A"}, 48_000, 48e3),
    "derived_utf16le_bom_deccomma.csv": ({"channel": "Kanal 1", "probe": "1V/A"}, 3_000, 2.5e6),
    "pump_trend_1Hz_semicolon_datetime.csv": ({"channel": "Current"}, None, 0.953846),
    "sc_sequence_start_increment_4ch.csv": ({"channel": "CH1", "probe": "1V/A"}, 1_200, 2e9),
    "sc_empty_cells_math_ch.csv": ({"channel": "1", "probe": "1V/A"}, None, 1e9),
}
# file: (options, code)
REFUSED = {
    "mot_dc_universal_10V_tacho.mat": ({}, "channel-needed"),
    "mot_dc_universal_30V_tacho.mat": ({"channel": "strom"}, "sample-rate-needed"),
    "mot_ac_3ph_nested.parquet": ({"channel": "current alpha"}, "sample-rate-needed"),
    "bemf_500rpm_in_s_C1_in_V.csv": ({}, "probe-needed"),
    "sc_sidecols_fft_not_time.csv": ({"probe": "1V/A"}, "not-a-time-record"),
    "sc_preamble_nocol_rawcodes.csv": ({"probe": "1V/A"}, "raw-codes"),
    "sc_start_increment_missing_units_3ch.csv": ({"channel": "CH2", "probe": "1V/A"}, "sample-rate-needed"),
    "sc_noheader_4blocks_of_6.csv": ({}, "channel-needed"),
    "sc_noheader_values_only_one_col.csv": ({}, "sample-rate-needed"),
    "sc_hash_timebase_ps_values_mV.csv": ({"probe": "100mV/A"}, "above-100-a"),
    "daq_latin1_tab_deccomma_french_units.txt": ({}, "not-electrical"),
    "xlsx_named_csv.csv": ({}, "workbook"),
    "daq_scaled_unscaled_7ch.tdms": ({}, "recorder-binary"),
    "rec_latin1_portuguese.cfg": ({}, "recorder-config"),
    "rec_latin1_portuguese.dat": ({}, "binary"),
    "derived_mot_30V_48k_stereo.wav": ({"channel": "CH1"}, "full-scale-needed"),
    "sc_empty_cells_math_ch.csv": ({}, "channel-needed"),
    "hostile_footer_ends_the_reader.parquet": ({}, "ended-the-reader"),
}


def line_hz(capture, low, high, from_s=None, to_s=None):
    """Frequency of the strongest spectral line between `low` and `high` Hz."""
    values = np.nan_to_num(capture.current_a - np.nanmean(capture.current_a))
    if from_s is not None:
        first = round((from_s - capture.start_s) * capture.sample_rate_hz)
        values = values[first : round((to_s - capture.start_s) * capture.sample_rate_hz)]
        values = values - values.mean()
    size = 1 << int(np.ceil(np.log2(len(values) * 8)))
    spectrum = np.abs(np.fft.rfft(values * np.hanning(len(values)), size))
    hertz = np.fft.rfftfreq(size, 1 / capture.sample_rate_hz)
    band = (hertz >= low) & (hertz <= high)
    return float(hertz[band][np.argmax(spectrum[band])])


def read(name):
    options, _, _ = READ[name]
    return read_capture(SHARED / name, **options)


def codes(capture):
    return {note.code for note in capture.notes}


def test_every_file_of_the_list_is_covered():
    listed = {line.split("\t")[0] for line in (SHARED / "MANIFEST.tsv").read_text().splitlines()[1:] if line}
    assert listed == set(READ) | set(REFUSED)


@pytest.mark.parametrize("name", READ)
def test_file_reads_with_its_rate(name):
    options, count, rate = READ[name]
    capture = read_capture(SHARED / name, **options)
    if count is not None:
        assert len(capture.current_a) == count
    assert capture.sample_rate_hz == pytest.approx(rate, rel=2e-3)


@pytest.mark.parametrize("name", REFUSED)
def test_file_is_refused_with_a_sentence(name):
    options, code = REFUSED[name]
    with pytest.raises(CaptureRefused) as refused:
        read_capture(SHARED / name, **options)
    assert refused.value.code == code
    assert refused.value.text.startswith(name)
    assert refused.value.text.endswith((".", "?"))


@pytest.mark.parametrize(
    ("name", "low", "high", "hertz"),
    [
        ("mot_dc_universal_10V_tacho.mat", 50, 100, 78.4),  # 4 x rev
        ("mot_dc_universal_30V_tacho.mat", 150, 250, 188.8),  # 2 x rev
        ("mot_dc_universal_good_ac.mat", 1_300, 1_500, 1_427.8),
        ("mot_dc_universal_badbar_ac.mat", 50, 80, 61.27),
        ("mot_dc_shunt_machine_3ch_idxcol.csv", 200, 400, 300.0),
        ("mot_startup_flywheel_ch1_amps.csv", 250, 350, 300.8),
        ("bemf_500rpm_in_s_C1_in_V.csv", 30, 100, 58.05),
        ("bemf_sidecols_corrupt_first_cell.csv", 40, 90, 61.0),
        ("derived_mot_30V_48k_stereo.wav", 3_300, 3_500, 3_398.5),
        ("daq_bom_crcrlf_tab_deccomma_german.txt", 0.2, 1.0, 0.54),
        ("sc_semicolon_comment_preamble.csv", 5_000, 9_000, 7_000),
    ],
)
def test_frequency_in_the_list_is_found(name, low, high, hertz):
    assert line_hz(read(name), low, high) == pytest.approx(hertz, rel=0.03)


@pytest.mark.parametrize("name", ["sc_semicolon_decimal_comma.csv", "derived_utf16le_bom_deccomma.csv"])
def test_square_wave_of_about_1_khz(name):
    capture = read(name)
    edges = np.flatnonzero(np.diff(np.sign(capture.current_a - capture.current_a.mean())))
    assert len(edges) > 1
    assert 700 < capture.sample_rate_hz / (2 * np.diff(edges).max()) < 1_400


def test_chopper_rate_of_the_jittered_file():
    capture = read("mot_dc_small_pwm_tacho_dt.csv")
    assert line_hz(capture, 50, 90, 0, 5) == pytest.approx(67.4, rel=0.02)
    assert "resampled" in codes(capture)
    on = capture.current_a[: round(5 * capture.sample_rate_hz)]
    assert on.mean() == pytest.approx(0.512, rel=0.08)


def test_shunt_machine_is_turned_over_and_has_its_amperes():
    capture = read("mot_dc_shunt_machine_3ch_idxcol.csv")
    assert "reversed" in codes(capture)
    steady = capture.current_a[-2_000:]
    assert steady.mean() == pytest.approx(20.4, rel=0.02)
    assert capture.current_a.max() == pytest.approx(49.7, rel=0.02)


def test_start_of_the_flywheel_motor():
    capture = read("mot_startup_flywheel_ch1_amps.csv")
    assert capture.current_a.max() == pytest.approx(8.7, rel=0.02)
    assert capture.start_s == pytest.approx(-0.069)


@pytest.mark.parametrize("name", [n for n in READ if n.startswith("mot_dc_universal")])
def test_coupling_that_took_the_mean_away_is_said(name):
    assert "ac-coupled" in codes(read(name))


@pytest.mark.parametrize("segments", [36, None])
def test_speed_of_the_motor_with_a_tacho(segments):
    # MANIFEST.tsv: 8 tacho cycles a turn give 94.41 turns a second, 5,665 rpm: certain; 36 segments
    reading = measure(read("mot_dc_universal_30V_tacho.mat"), KnownPump(segments=segments))
    assert reading.rpm == pytest.approx(60 * 94.41, rel=2e-3)


def test_speed_of_the_motor_with_a_tacho_is_not_told_by_a_wrong_number_of_segments():
    assert measure(read("mot_dc_universal_30V_tacho.mat"), KnownPump(segments=8)).rpm is None


def test_a_slow_real_motor_is_never_read_as_another_speed():
    # MANIFEST.tsv: 19.6 turns a second, certain; at 100 kS/s the line 36 of the sound one is at 1,427.8 Hz
    slow = measure(read("mot_dc_universal_10V_tacho.mat"), KnownPump(segments=36))
    assert slow.rpm is None or slow.rpm == pytest.approx(1176, rel=0.01)
    assert slow.speed_candidates[0].rpm == pytest.approx(1176, rel=0.01)
    sound = measure(read("mot_dc_universal_good_ac.mat"), KnownPump(segments=36))
    assert sound.rpm == pytest.approx(60 * 1427.8 / 36, rel=1e-3)
    assert "another-load-suspected" in {note.code for note in sound.notes}


def test_values_of_single_rows():
    assert read("bemf_sidecols_corrupt_first_cell.csv").current_a[:4] == pytest.approx(
        [0.16, 0.16, 0.16, 0.2]
    )
    assert np.ptp(read("bemf_sidecols_corrupt_first_cell.csv").current_a) == pytest.approx(3.24)
    assert np.abs(read("sc_sidecols_probe10_zero_padded_neg.csv").current_a).max() == pytest.approx(
        15, rel=0.05
    )
    quoted = read("sc_quoted_preamble_leading_comma_V_and_A.csv")
    assert quoted.start_s == pytest.approx(-10.009)
    assert quoted.captured_at.isoformat() == "2026-06-30T13:38:29"
    assert read("sc_hash_timebase_ps_values_mV.csv").current_a[0] == pytest.approx(3.340)
    start = read("sc_missing_values_eng_notation.csv")
    assert start.start_s == pytest.approx(-18.92)
    assert start.current_a[0] == pytest.approx(0.6344)


def test_current_of_the_trend_is_an_average_only():
    # MANIFEST.tsv: mean 1.57 A, 0.59 to 2.33; too slow for ripple, and the reader must say so
    name = "pump_trend_1Hz_semicolon_datetime.csv"
    raw = np.loadtxt(SHARED / name, delimiter=";", skiprows=1, usecols=3)
    capture = read(name)
    assert (raw.min(), raw.max()) == pytest.approx((0.59, 2.33), abs=0.005)
    assert len(capture.current_a) == pytest.approx(len(raw), rel=0.06)  # a second is missing here and there
    reading = measure(capture)
    assert reading.mean_a == pytest.approx(1.57, abs=0.01)
    assert reading.notes[0].code == "average-only"
    assert "too slow for ripple" in reading.notes[0].text
    assert (reading.ripple_pct, reading.raw_ripple_pct, reading.rpm, reading.sparks_per_s) == (None,) * 4


def test_sample_numbers_are_not_seconds():
    # the header's start and increment are -0.3 µs and 0.5 ns
    capture = read("sc_sequence_start_increment_4ch.csv")
    assert capture.start_s == pytest.approx(-3e-7)
    assert capture.current_a[:4] == pytest.approx([3.28, 3.28, 3.20, 3.20])
    with pytest.raises(CaptureRefused) as refused:
        measure(capture)
    assert refused.value.code == "too-short"
    assert "600 ns" in refused.value.text


def test_numbered_channels_plus_signs_and_a_first_row_without_values():
    name = "sc_empty_cells_math_ch.csv"
    capture = read(name)
    assert capture.current_a[:2] == pytest.approx([4.130653243512, 4.130653243512], rel=1e-12)
    assert capture.start_s == pytest.approx(55.647e-6)  # the row before holds the time alone
    assert read_capture(SHARED / name, channel="MATH1", probe="1V/A").current_a[0] == pytest.approx(0.3046875)


def test_envelope_column_is_left_out_and_coarse_times_use_the_header():
    capture = read("sc_preamble_peakdetect_coarse_time.csv")
    assert {"envelope-column", "time-from-header"} <= codes(capture)
    assert capture.current_a[0] == pytest.approx(-0.08)
