"""What a person is asked while a visit is logged, in Spanish; the English is in questions and
odometer_questions."""

from __future__ import annotations

from functools import partial

from ingest.units import KPA_PER_PSI, UNITS, format_quantity
from ingest.wording.language import SPANISH
from ingest.wording.sentence import in_language

spanish = partial(in_language, SPANISH)


@spanish("mangled-identifier")
def mangled_identifier(value: str) -> str:
    return f"'{value}' parece un número que una hoja de cálculo cambió; ¿está bien?"


@spanish("similar-unit", "new")
def new_but_similar(unit: str, like: str) -> str:
    return f"La unidad {unit} es nueva, pero ya existe la unidad {like}; ¿es esa?"


@spanish("similar-unit", "both-known")
def which_of_two_units(unit: str, like: str) -> str:
    return f"Existen una unidad {unit} y una unidad {like}; ¿es la {unit}?"


@spanish("other-unit")
def other_unit(unit: str, like: str) -> str:
    return (
        f"Esto no parece de la unidad {unit} sino de la {like}: su odómetro estaba ahí en esa fecha y su "
        "bomba consume esa corriente. ¿Qué unidad es?"
    )


@spanish("unit-new")
def new_unit(unit: str, pump_type: str | None) -> str:
    return f"La unidad {unit} no está en el registro: ¿agregarla con {_a_pump(pump_type)}?"


@spanish("position-new")
def new_position(unit: str, position: str | None, pump_type: str | None) -> str:
    return (
        f"La unidad {unit} no tiene bomba en la posición {position or 'main'}: ¿agregar {_a_pump(pump_type)}?"
    )


@spanish("pump-new")
def new_pump(unit: str, position: str | None, serial: str | None, day: str, pump_type: str | None) -> str:
    which = f" con número de serie {serial}" if serial else ""
    return (
        f"El registro no conoce ninguna bomba{which} en la posición {position or 'main'} de la unidad {unit} "
        f"el {day}: ¿agregar {_a_pump(pump_type)}?"
    )


@spanish("pump-changed")
def changed_pump(unit: str, position: str | None, serial: str, day: str, known: str | None) -> str:
    place = f"la posición {position or 'main'} de la unidad {unit}"
    if known is None:
        return (
            f"Nadie dijo el número de serie de la bomba en {place}, y el {day} es"
            f" {serial}: ¿se cambió la bomba?"
        )
    return (
        f"La bomba en {place} consta con número de serie {known}, no {serial}: ¿ya se había cambiado el"
        f" {day}?"
    )


def _a_pump(pump_type: str | None) -> str:
    kind = "de tipo desconocido" if pump_type in (None, "unknown") else f"de tipo {pump_type}"
    return f"una bomba {kind}, montada en fecha desconocida"


@spanish("future-date")
def future_date(day: str, today: str) -> str:
    return f"{day} es posterior a hoy, {today}; ¿cuál es la fecha correcta?"


@spanish("old-date")
def old_date(day: str, later: str) -> str:
    return f"{day} fue hace más de un año y la unidad estuvo aquí el {later}; ¿es la fecha correcta?"


@spanish("hours-below-last")
def hours_below_last(hours: float, last: float) -> str:
    return (
        f"{hours:,.0f} horas son menos que las últimas de la unidad, {last:,.0f}; ¿error al escribir, o "
        "horómetro nuevo?"
    )


@spanish("supply-implausible")
def supply_implausible(supply_v: float, system_v: float) -> str:
    return f"{supply_v:g} V está lejos del sistema de {system_v:g} V de esta unidad; ¿está bien?"


@spanish("pressure-unit")
def pressure_in_psi(pressure_kpa: float, rated_kpa: float) -> str:
    return (
        f"{pressure_kpa:.0f} kPa está muy por debajo de los {rated_kpa:.0f} kPa nominales, pero "
        f"{pressure_kpa:.0f} psi serían {pressure_kpa * KPA_PER_PSI:.0f} kPa; ¿se leyó en psi?"
    )


@spanish("pressure-unit", "bar-for-psi")
def pressure_bar_for_psi(pressure_kpa: float, psi: float, right_kpa: float, usual_kpa: float) -> str:
    return (
        f"{psi:.2g} psi son {pressure_kpa:.0f} kPa, muy por debajo de los {usual_kpa:.0f} kPa de esta bomba,"
        f" pero {psi:.2g} bar serían {right_kpa:.0f} kPa; ¿se leyó en bar?"
    )


@spanish("pressure-unit", "other")
def pressure_unit(pressure_kpa: float, unit: str, right_kpa: float, usual_kpa: float) -> str:
    return (
        f"{pressure_kpa:.3g} kPa está muy por debajo de los {usual_kpa:.0f} kPa de esta bomba, pero "
        f"{pressure_kpa:.3g} {unit} serían {right_kpa:.0f} kPa; ¿se leyó en {unit}?"
    )


@spanish("delivery-unit")
def delivery_unit(delivery_l_min: float, unit: str, right_l_min: float, usual_l_min: float | None) -> str:
    than = "que una bomba" if usual_l_min is None else f"que los {usual_l_min:.2g} L/min de esta bomba"
    return (
        f"{delivery_l_min:.3g} L/min es mucho más {than}, pero {delivery_l_min:.3g} {unit} serían "
        f"{right_l_min:.2g} L/min; ¿se leyó en {unit}?"
    )


@spanish("temperature-unit")
def temperature_unit(fuel_temp_c: float, right_c: float, usual_c: float | None) -> str:
    usual = "" if usual_c is None else f", donde esta unidad tenía unos {usual_c:.0f} °C"
    return (
        f"{fuel_temp_c:.0f} °C es caliente para el combustible{usual}, pero {fuel_temp_c:.0f} °F serían "
        f"{right_c:.0f} °C; ¿se leyó en °F?"
    )


@spanish("speed-unit")
def speed_unit(rpm: float, right_rpm: float, usual_rpm: float) -> str:
    return (
        f"{rpm:,.0f} rpm está muy por debajo de las {usual_rpm:,.0f} rpm de esta bomba, pero "
        f"{rpm:,.0f} vueltas por segundo serían {right_rpm:,.0f} rpm; ¿se leyó así?"
    )


@spanish("speed-unit", "digit")
def speed_digit(rpm: float, right_rpm: float, usual_rpm: float) -> str:
    times = "unas diez veces" if rpm > usual_rpm else "cerca de un décimo de"
    return (
        f"{rpm:,.0f} rpm son {times} las {usual_rpm:,.0f} rpm de esta bomba; ¿son {right_rpm:,.0f} rpm, "
        "con un dígito de más o de menos?"
    )


@spanish("drop-across")
@spanish("drop-across", "ground")
def drop_across(drop_v: float, supply_v: float) -> str:
    return (
        f"Una caída de {drop_v:.3g} V no es posible junto a {supply_v:.3g} V y una bomba en marcha: ¿estaba "
        "el medidor en los bornes de la bomba y no a lo largo de su cable?"
    )


@spanish("probe-factor", "unlikely")
def current_unlikely(mean_a: float) -> str:
    return (
        f"{format_quantity(mean_a, 'A')} es poco probable en una bomba de combustible; ¿están bien el factor "
        "o el rango de la pinza?"
    )


@spanish("probe-factor", "off-level")
def current_off_level(mean_a: float, level_a: float) -> str:
    times = f"{mean_a / level_a:.0f} veces" if mean_a > level_a else f"1/{level_a / mean_a:.0f} de"
    return (
        f"{format_quantity(mean_a, 'A')} es alrededor de {times} lo que consume esta bomba, "
        f"{format_quantity(level_a, 'A')}; ¿están bien el factor o el rango de la pinza?"
    )


@spanish("second-meter-reading")
def second_meter_reading(unit: str, day: str, visit_id: int, known_a: float, meter_a: float) -> str:
    return (
        f"La unidad {unit} ya tiene una lectura de medidor de {known_a:g} A del {day} (visita {visit_id}): "
        f"¿guardar {meter_a:g} A junto a ella?"
    )


@spanish("capture-elsewhere")
def capture_elsewhere() -> str:
    return "Estas mismas muestras ya pertenecen a otra visita; ¿en cuál se capturaron?"


@spanish("implied-pump")
def implied_pump(unit: str, position: str, day: str, serial: str | None) -> str:
    which = f"número de serie {serial}" if serial else "sin número de serie"
    return (
        f"La unidad {unit} no tiene bomba registrada en la posición {position} el {day} ({which}); se supone "
        "una de edad desconocida. ¿Qué bomba es?"
    )


@spanish("odometer-kilometres")
def in_kilometres(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    value, likely = _value(km, last_km, unit), format_quantity(likely_km, unit)
    if unit == "mi":
        read = f"{value}: ¿{_number(km, unit)} se leyó en kilómetros?"
        said = f"{read} Serían {likely}, como anda esta unidad."
    else:
        said = f"{value} es 1.609 veces lo que anda esta unidad: ¿son {likely}, convertidos dos veces?"
    return said + _beside(km, last_km, own, other_unit)


@spanish("odometer-miles")
def in_miles(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    value, likely = _value(km, last_km, unit), format_quantity(likely_km, unit)
    if unit == "km":
        said = f"{value}: ¿{_number(km, unit)} se leyó en millas? Serían {likely}, como anda esta unidad."
    else:
        said = f"{value} es lo que dan {likely} divididos entre 1.609: ¿se convirtió dos veces?"
    return said + _beside(km, last_km, own, other_unit)


@spanish("odometer-digit")
def digit_slip(
    km: float, likely_km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None
) -> str:
    likely = format_quantity(likely_km, unit)
    return (
        f"{_value(km, last_km, unit)}: ¿sobra, falta o se cambió un dígito? {likely} sería lo que anda esta "
        "unidad." + _beside(km, last_km, own, other_unit)
    )


@spanish("odometer-below-last")
def below_last(km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None) -> str:
    return (
        f"El odómetro {format_quantity(km, unit)} es menor que la última lectura de la "
        f"unidad{_last(last_km, unit)}; ¿error al escribir, otra unidad, o tablero nuevo?"
        + _beside(km, last_km, own, other_unit)
    )


@spanish("odometer-restarted")
def restarted(km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None) -> str:
    asked = f"Odómetro {format_quantity(km, unit)}: las lecturas empiezan de nuevo; ¿se cambió el tablero?"
    return asked + _beside(km, last_km, own, other_unit)


@spanish("odometer-too-far")
def too_far(km: float, last_km: float | None, unit: str, own: str | None, other_unit: str | None) -> str:
    return (
        f"{_value(km, last_km, unit)} es mucho más de lo que anda esta unidad en ese tiempo; ¿error al "
        "escribir, u otra unidad?" + _beside(km, last_km, own, other_unit)
    )


def _value(km: float, last_km: float | None, unit: str) -> str:
    return f"Odómetro {format_quantity(km, unit)}{_last(last_km, unit)}"


def _last(last_km: float | None, unit: str) -> str:
    return "" if last_km is None else f" (última: {format_quantity(last_km, unit)})"


def _number(km: float, unit: str) -> str:
    return f"{km / UNITS[unit].factor:,.0f}"


def _beside(km: float, last_km: float | None, own: str | None, other_unit: str | None) -> str:
    said = ""
    if own is not None:
        last = "" if last_km is None else f", la última {format_quantity(last_km, own)}"
        said = f" (En {own}: {format_quantity(km, own)}{last}.)"
    if other_unit is not None:
        said += f" La unidad {other_unit} tenía esta lectura en esa fecha, con esa corriente."
    return said
