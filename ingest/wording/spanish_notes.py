"""Remarks on files and on the reading of them, in Spanish; the English is in file_notes."""

from __future__ import annotations

from functools import partial

from ingest.wording.language import SPANISH
from ingest.wording.quantities import rate_words
from ingest.wording.sentence import in_language

spanish = partial(in_language, SPANISH)
DELIMITERS = {"\t": "tabulador", ";": "punto y coma", ",": "coma", "|": "barra", " ": "espacios"}


@spanish("layout")
def layout(encoding: str, line_end: str, delimiter: str | None, decimal: str, first_row: int) -> str:
    between = "" if delimiter is None else f"{DELIMITERS[delimiter]} entre valores, "
    point = "coma" if decimal == "," else "punto"
    return f"Texto ({encoding}, {line_end}): {between}{point} decimal, números desde la fila {first_row}."


@spanish("last-line-cut")
def last_line_cut() -> str:
    return "La última línea está cortada y no se tomó en cuenta."


@spanish("text-rows")
def text_rows(lines: int, first_row: int) -> str:
    return f"No se tomaron en cuenta {lines} líneas de texto, la primera en la fila {first_row}."


@spanish("rows-missing")
def rows_missing(promised: int, there: int) -> str:
    return f"El encabezado habla de {promised:,} muestras y hay {there:,}: ¿se cortó el archivo?"


@spanish("ends-trimmed")
def ends_trimmed(samples: int) -> str:
    return f"No se tomaron en cuenta {samples} muestras sin valor en los extremos."


@spanish("gaps")
def gaps(samples: int, first_row: int) -> str:
    return f"{samples} muestras no tienen valor, la primera en la fila {first_row}."


@spanish("overflow")
def overflow(samples: int, first_row: int, marks: int) -> str:
    return (
        f"{samples} muestras no tienen valor, la primera en la fila {first_row}"
        f" ({marks} de ellas marcan desborde: ¿rango demasiado chico?)."
    )


@spanish("record-chosen")
def record_chosen(records: int, chosen: int | None) -> str:
    which = "la primera" if chosen is None else f"la grabación {chosen}"
    return f"El archivo tiene {records} grabaciones; se leyó {which} (--record K lee otra)."


@spanish("envelope-column")
def envelope_column(columns: list[str]) -> str:
    return f"No se tomó en cuenta la columna envolvente {', '.join(columns)}."


@spanish("channel-chosen")
def channel_chosen(channel: str) -> str:
    return f"Se leyó el canal {channel}: el único en amperios."


@spanish("time-column-assumed")
def time_column_assumed() -> str:
    return "La columna de pasos iguales se tomó como tiempo: no tiene nombre."


@spanish("time-unit-assumed")
def time_unit_assumed() -> str:
    return "La columna de tiempo no tiene unidad; se tomaron segundos."


@spanish("rate-overridden")
def rate_overridden(given_hz: float, own_hz: float) -> str:
    return (
        f"La frecuencia de muestreo indicada, {rate_words(given_hz)}, reemplaza la del archivo, "
        f"{rate_words(own_hz)}."
    )


@spanish("time-from-header", "no-column")
def rate_from_header(rate_hz: float) -> str:
    return f"Sin columna de tiempo: {rate_words(rate_hz)} según el encabezado."


@spanish("time-from-header", "coarse-times")
def rate_rather_from_header(rate_hz: float) -> str:
    return f"Los tiempos están escritos con poca precisión; se usó {rate_words(rate_hz)} del encabezado."


@spanish("time-from-span")
def rate_from_span(step_s: float, rate_hz: float) -> str:
    return (
        f"Los tiempos están escritos en pasos de {step_s:.3g} s; {rate_words(rate_hz)} sale de la duración "
        "completa."
    )


@spanish("time-conflict")
def time_conflict(header_hz: float, column_hz: float) -> str:
    return (
        f"El encabezado dice {rate_words(header_hz)}, la columna de tiempo {rate_words(column_hz)}; "
        "se usó la columna."
    )


@spanish("resampled")
def resampled(shortest_s: float, longest_s: float, usual_s: float, off_share: float, rate_hz: float) -> str:
    return (
        f"Los pasos van de {shortest_s:.4g} a {longest_s:.4g} s (el {100 * off_share:.0f} % se aparta de los "
        f"{usual_s:.4g} s habituales); los valores se interpolaron a {rate_words(rate_hz)}."
    )


@spanish("codes-scaled")
def codes_scaled(per_code: float) -> str:
    return f"Los códigos del convertidor se escalaron con {per_code:g} por código, según el encabezado."


@spanish("full-scale-applied")
def full_scale_applied(full_scale_a: float) -> str:
    return f"Se tomó {full_scale_a:g} A como fondo de escala."


@spanish("probe-not-used")
def probe_not_used(channel: str, unit: str) -> str:
    return f"{channel} ya está en {unit}; no se aplicó el factor de la pinza."


@spanish("probe-from-header")
def probe_from_header(v_per_a: float) -> str:
    return f"El encabezado da la salida de la pinza, {v_per_a:g} V/A."


@spanish("probe-applied")
def probe_applied(unit: str, v_per_a: float, attenuation: float | None) -> str:
    told = ""
    if attenuation is not None:
        told = f"; la atenuación {attenuation:g} del encabezado se dio por aplicada"
    return f"{unit} se pasó a A con {v_per_a * 1000:g} mV/A{told}."


@spanish("unit-assumed", "volts")
def volts_assumed() -> str:
    return "Los valores no tienen unidad; se tomaron voltios, porque se indicó una pinza."


@spanish("unit-assumed", "amperes")
def amperes_assumed() -> str:
    return "Los valores no tienen unidad; se tomaron amperios."


@spanish("ac-coupled", "file")
def ac_coupled(scale_known: bool) -> str:
    scale = "" if scale_known else ", y nada indica la escala"
    return (
        f"El promedio es nulo frente a la oscilación: la pinza o la entrada estaba acoplada en CA{scale}; "
        "no se puede saber la corriente promedio."
    )


@spanish("reversed")
def turned_over() -> str:
    return "La pinza estaba al revés: se invirtió la señal."
