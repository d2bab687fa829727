"""What is remarked while a file is read: every assumption that was made."""

from __future__ import annotations

from ingest.wording.quantities import rate_words
from ingest.wording.sentence import note

DELIMITERS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "blanks"}


@note("layout", "info")
def layout(encoding: str, line_end: str, delimiter: str | None, decimal: str, first_row: int) -> str:
    """How the text is laid out; delimiter: None for a single column."""
    between = "" if delimiter is None else f"{DELIMITERS[delimiter]} between values, "
    point = "comma" if decimal == "," else "point"
    return f"Text ({encoding}, {line_end}): {between}decimal {point}, numbers from row {first_row}."


@note("last-line-cut", "info")
def last_line_cut() -> str:
    """The file ends within a line."""
    return "The last line is cut short and was left out."


@note("text-rows", "info")
def text_rows(lines: int, first_row: int) -> str:
    """Rows of words among the numbers."""
    return f"{lines} lines of text were left out, the first in row {first_row}."


@note("rows-missing", "info")
def rows_missing(promised: int, there: int) -> str:
    """Fewer rows than the header promises."""
    return f"The header speaks of {promised:,} samples and {there:,} are there: was the file cut short?"


@note("ends-trimmed", "info")
def ends_trimmed(samples: int) -> str:
    """Samples without a value before the first and after the last that has one."""
    return f"{samples} samples without a value at the ends were left out."


@note("gaps", "info")
def gaps(samples: int, first_row: int) -> str:
    """Samples without a value in between."""
    return f"{samples} samples have no value, the first in row {first_row}."


@note("overflow", "warning")
def overflow(samples: int, first_row: int, marks: int) -> str:
    """The same, some of them because the range was too small."""
    return (
        f"{samples} samples have no value, the first in row {first_row}"
        f" ({marks} of them overflow marks: range too small?)."
    )


@note("record-chosen", "info")
def record_chosen(records: int, chosen: int | None) -> str:
    """Which of several records was read; chosen: None where nobody said."""
    which = "the first" if chosen is None else f"record {chosen}"
    return f"The file holds {records} records; {which} was read (--record K reads another)."


@note("envelope-column", "info")
def envelope_column(columns: list[str]) -> str:
    """Columns that repeat another, as its lowest or highest."""
    return f"The envelope column {', '.join(columns)} was left out."


@note("channel-chosen", "info")
def channel_chosen(channel: str) -> str:
    """The one channel that can be the current."""
    return f"Channel {channel} was read: the only one in amperes."


@note("time-column-assumed", "info")
def time_column_assumed() -> str:
    """A column taken for the time though it has no name."""
    return "The column with even steps was taken as time: no name."


@note("time-unit-assumed", "info")
def time_unit_assumed() -> str:
    """A time column without a unit."""
    return "The time column has no unit; seconds were taken."


@note("rate-overridden", "warning")
def rate_overridden(given_hz: float, own_hz: float) -> str:
    """A person's sample rate instead of the file's."""
    return f"The sample rate given, {rate_words(given_hz)}, replaces the file's own {rate_words(own_hz)}."


@note("time-from-header", "info", "no-column")
def rate_from_header(rate_hz: float) -> str:
    """The header alone tells the rate."""
    return f"No time column: {rate_words(rate_hz)} from the header."


@note("time-from-header", "info", "coarse-times")
def rate_rather_from_header(rate_hz: float) -> str:
    """The header tells the rate better than the printed times."""
    return f"Times are printed too coarsely; the header's {rate_words(rate_hz)} was used."


@note("time-from-span", "info")
def rate_from_span(step_s: float, rate_hz: float) -> str:
    """Printed times too coarse for one step, fine for the whole."""
    return f"Times are printed in steps of {step_s:.3g} s; {rate_words(rate_hz)} comes from the whole span."


@note("time-conflict", "warning")
def time_conflict(header_hz: float, column_hz: float) -> str:
    """Header and time column tell two rates."""
    return (
        f"The header says {rate_words(header_hz)}, the time column {rate_words(column_hz)}; "
        "the column was used."
    )


@note("resampled", "warning")
def resampled(shortest_s: float, longest_s: float, usual_s: float, off_share: float, rate_hz: float) -> str:
    """Uneven steps in time; off_share: of the steps."""
    return (
        f"Steps vary from {shortest_s:.4g} to {longest_s:.4g} s ({100 * off_share:.0f} % of them off the "
        f"usual {usual_s:.4g} s); values were interpolated to {rate_words(rate_hz)}."
    )


@note("codes-scaled", "info")
def codes_scaled(per_code: float) -> str:
    """A converter's codes, by the header's scale."""
    return f"Converter codes were scaled with the header's {per_code:g} a code."


@note("full-scale-applied", "info")
def full_scale_applied(full_scale_a: float) -> str:
    """Fractions of full scale, by what a person says it is."""
    return f"Full scale was taken as {full_scale_a:g} A."


@note("probe-not-used", "warning")
def probe_not_used(channel: str, unit: str) -> str:
    """A probe factor told for values that are amperes."""
    return f"{channel} is already in {unit}; the probe factor was not applied."


@note("probe-from-header", "info")
def probe_from_header(v_per_a: float) -> str:
    """The header tells the probe factor."""
    return f"The header gives the clamp's output, {v_per_a:g} V/A."


@note("probe-applied", "info")
def probe_applied(unit: str, v_per_a: float, attenuation: float | None) -> str:
    """Volts into amperes; attenuation: the header's, None for none."""
    told = ""
    if attenuation is not None:
        told = f"; the header's attenuation {attenuation:g} was taken as already applied"
    return f"{unit} became A with {v_per_a * 1000:g} mV/A{told}."


@note("unit-assumed", "warning", "volts")
def volts_assumed() -> str:
    """Values without a unit beside a probe factor."""
    return "The values have no unit; volts were taken, since a probe is given."


@note("unit-assumed", "warning", "amperes")
def amperes_assumed() -> str:
    """Values without a unit that may be a pump's current."""
    return "The values have no unit; amperes were taken."


@note("ac-coupled", "warning", "file")
def ac_coupled(scale_known: bool) -> str:
    """The mean was taken away before the file was written."""
    scale = "" if scale_known else ", and nothing tells the scale"
    return (
        f"The mean is nothing beside the swing: the clamp or input was AC-coupled{scale}; "
        "the average current can't be told."
    )


@note("reversed", "warning")
def turned_over() -> str:
    """The clamp was on backwards."""
    return "The clamp was on backwards: the trace was turned over."
