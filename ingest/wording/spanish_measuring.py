"""Remarks on a record while it is measured, in Spanish; the English is in measuring_notes."""

from __future__ import annotations

from functools import partial

from ingest.wording.language import SPANISH
from ingest.wording.quantities import rate_words, signed
from ingest.wording.sentence import in_language

spanish = partial(in_language, SPANISH)
PRIMED = "capture de nuevo con el motor apagado, durante el cebado al dar contacto"
OWN_WIRE = "Asegúrese de que la pinza esté en el cable propio de la bomba"


@spanish("average-only")
def average_only(rate_hz: float, too_slow: bool) -> str:
    which = "lenta para el rizado" if too_slow else "rápida para abarcar una vuelta de la bomba"
    return (
        f"A {rate_words(rate_hz, 3)} la grabación es demasiado {which}, así que solo se da el promedio: "
        "capture entre 20 kS/s y 1 MS/s, 100 ms o más."
    )


@spanish("last-part-measured")
def last_part_measured(runs_s: float, measured_s: float) -> str:
    return f"En la grabación la bomba marcha {runs_s:,.0f} s; se midieron los últimos {measured_s:.0f} s."


@spanish("ac-coupled", "run")
def ac_coupled() -> str:
    return (
        "El promedio es nulo frente a la oscilación: la pinza o la entrada está acoplada en CA; "
        "ponga ambas en CC."
    )


@spanish("brushless")
def brushless() -> str:
    return "Una bomba sin escobillas no tiene colector: su velocidad no se puede sacar del rizado."


@spanish("zero-unverified")
def zero_unverified() -> str:
    return (
        "En la grabación no hay un tramo con la bomba apagada, así que el cero de la pinza no está "
        "comprobado: ponga la pinza a cero y empiece la grabación antes de encender la bomba."
    )


@spanish("zero-corrected")
def zero_corrected(zero_a: float) -> str:
    return f"Con la bomba apagada la grabación muestra {signed(zero_a, 3)} A; se restó."


@spanish("zero-verified")
def zero_verified(zero_a: float) -> str:
    return f"Con la bomba apagada la grabación muestra {signed(zero_a, 3)} A: el cero está bien."


@spanish("clipped")
def clipped(share: float) -> str:
    return (
        f"El {100 * share:.1f} % de las muestras está en el tope del rango: promedio y rizado salen mal. "
        "Elija un rango mayor y capture de nuevo."
    )


@spanish("range-too-coarse", "ripple")
def ripple_coarse(steps: float, step_a: float) -> str:
    return (
        f"El rizado mide solo {steps:.1f} pasos de {1000 * step_a:.3g} mA: elija un rango menor, o la "
        "posición de 100 mV/A de la pinza, y capture de nuevo."
    )


@spanish("range-too-coarse", "speed")
def speed_coarse(steps: float) -> str:
    return (
        f"El rizado mide solo {steps:.1f} pasos, muy poco para dar la velocidad: elija un rango menor y "
        "capture de nuevo."
    )


@spanish("mains-hum", "beside")
def mains_beside(line_hz: float, mains_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.1f} Hz parece zumbido de la red de {mains_hz:.0f} Hz: aleje cables y pinza "
        "de cargadores y cables de red, y capture de nuevo."
    )


@spanish("mains-hum", "strongest")
def mains_strongest(line_hz: float) -> str:
    return (
        f"La línea más fuerte, {line_hz:.1f} Hz, es un múltiplo de la frecuencia de la red: una fuente "
        "conectada a la red, zumbido o un mando conmutado tapa el rizado. Capture de nuevo con la batería "
        "del vehículo, lejos de cables de red."
    )


@spanish("pwm-found", "another-line")
def drive_line(line_hz: float) -> str:
    return f"Una línea a {line_hz:.0f} Hz también es del mando."


@spanish("pwm-found", "suspected")
def drive_suspected(line_hz: float, rate_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.0f} Hz no sigue al eje: el mando parece conmutado, o es una línea más rápida "
        f"que se pliega por muestrear a {rate_hz:.0f} muestras por segundo."
    )


@spanish("pwm-found", "taken-out")
def drive_taken_out(clock_hz: float) -> str:
    return f"El mando conmuta a unos {clock_hz:.0f} Hz; eso se quitó."


@spanish("pwm-found", "left-over")
def beside_a_clock(rpm: float, clock_hz: float) -> str:
    return (
        f"El mando conmuta a unos {clock_hz:.0f} Hz. El giro hallado a su lado, {rpm:.0f} rpm, es demasiado "
        "débil o rápido para una bomba que un mando frena: puede ser lo que dejó la conmutación. Grabe otra "
        "vez al doble de muestras por segundo o más."
    )


@spanish("pwm-found", "fast")
def drive_fast(line_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.0f} Hz, más rápida que el rizado, muestra que el mando es conmutado: compare "
        "promedios solo con igual ciclo de trabajo y presión."
    )


@spanish("pwm-found", "interrupted")
def current_interrupted(times_hz: float) -> str:
    return (
        f"La corriente cae casi a cero y vuelve a subir {times_hz:.0f} veces por segundo: una alimentación "
        "pulsada, o una delga muerta del colector. Indique cómo se alimenta la bomba (--supply direct o "
        "pwm), o capture de nuevo con alimentación directa."
    )


@spanish("pwm-found", "strongest")
def drive_strongest(line_hz: float) -> str:
    return (
        f"La línea más fuerte, {line_hz:.1f} Hz, puede ser de un mando conmutado y no da la velocidad: "
        "capture de nuevo con la bomba alimentada directamente."
    )


@spanish("alternator-suspected")
def alternator_suspected(line_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.0f} Hz no sigue al eje: rizado del alternador o un mando conmutado; {PRIMED}."
    )


@spanish("engine-suspected")
def engine_suspected(line_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.0f} Hz que no sigue al eje parece de un motor en marcha, y puede confundirse "
        f"con la vuelta de la bomba: {PRIMED}, o indique cuántas delgas tiene la bomba."
    )


@spanish("engine-suspected", "firing")
def firing_suspected(line_hz: float) -> str:
    return (
        f"Lo que daría esta vuelta se repite {line_hz:.0f} veces por segundo, como el encendido de un motor "
        f"en marcha: {PRIMED}, o indique cuántas delgas tiene la bomba."
    )


@spanish("another-load-suspected")
def another_load(rpm: float, ripple_pct: float) -> str:
    return (
        f"{rpm:.0f} rpm es raro en una bomba de combustible, y un rizado del {ripple_pct:.1f} % del promedio "
        "es débil: parece el rizado del alternador sobre otra carga, un ventilador o un soplador. "
        f"{OWN_WIRE} y capture de nuevo con el motor apagado."
    )


@spanish("another-load-suspected", "slow")
def a_fans_speed(rpm: float, segments: int) -> str:
    return (
        f"{rpm:.0f} rpm es poco y {segments} delgas son muchas para una bomba de combustible: parece un "
        f"ventilador o un soplador. {OWN_WIRE} y capture de nuevo."
    )


@spanish("another-load-suspected", "slow-few")
def slow_for_a_pump(rpm: float, usual_low_rpm: float) -> str:
    return (
        f"{rpm:.0f} rpm es poco para una bomba de combustible, que suele girar a {usual_low_rpm:.0f} rpm o "
        f"más: va frenada o le falta tensión, o es un ventilador o un soplador. {OWN_WIRE}."
    )


@spanish("another-load-suspected", "current")
def a_fans_current(rpm: float, usual_low_rpm: float, mean_a: float) -> str:
    return (
        f"Encajan {rpm:,.0f} rpm, pero una bomba de combustible suele girar a {usual_low_rpm:,.0f} rpm o "
        f"más, y una frenada hasta ahí consumiría más de {mean_a:.1f} A: parece un ventilador, o la tensión "
        f"es muy baja. {OWN_WIRE}; si su tipo es así de lento, anote su velocidad habitual (rpm_low)."
    )


@spanish("another-load-suspected", "lines")
def unusual_beside_lines(rpm: float, line_hz: float) -> str:
    return (
        f"{rpm:.0f} rpm es raro en una bomba de combustible, y una línea a {line_hz:.0f} Hz no la sigue: "
        "puede ser el rizado de un motor en marcha sobre otra carga, un ventilador o un módulo de mando. "
        f"{OWN_WIRE} y {PRIMED}."
    )


@spanish("another-load-suspected", "pattern")
def no_commutators_pattern() -> str:
    return (
        "Lo que se repite en la grabación no es lo que deja un colector de tantas delgas, sanas o con una "
        "mala: parece el módulo de una bomba sin escobillas, otro motor o un número de delgas equivocado. "
        "Revise el número y el cable, o indique --motor brushless."
    )


@spanish("another-load-suspected", "driven")
def no_commutators_beside_a_drive() -> str:
    return (
        "Lo que se repite en el registro no es lo que deja un colector de tantas delgas, sano o con una "
        "delga mala; puede dibujarlo lo que el módulo de mando deja en la corriente. Ponga la bomba a plena "
        "marcha para la captura si puede, y revise el número de delgas y el cable."
    )


@spanish("pwm-found", "or-brushless")
def switched_or_brushless(line_hz: float) -> str:
    return (
        f"Una línea a {line_hz:.0f} Hz, más rápida que el rizado, muestra que la alimentación es conmutada: "
        "la de un mando, o la electrónica propia de una bomba sin escobillas, cuya conmutación se parece a "
        "la de una con escobillas. Indique cuál (--supply pwm, o --motor brushless)."
    )


@spanish("second-motor-suspected")
def second_motor(line_hz: float) -> str:
    return (
        f"Líneas a {line_hz:.0f} Hz y al doble no siguen al eje: parece un segundo motor en el mismo cable, "
        "por ejemplo otra bomba. Ponga la pinza en el cable de una sola bomba y capture de nuevo."
    )


@spanish("current-drops-out")
def current_drops_out(count: int, lasting_ms: float, left_pct: float) -> str:
    return (
        f"En la grabación la corriente cae {count} veces de golpe al {left_pct:.0f} % y vuelve de golpe, "
        f"tras {lasting_ms:.0f} ms en promedio: un conector, empalme, relé o masa hace mal contacto. "
        "Búsquelo (mueva el mazo mientras graba) y capture de nuevo; el promedio cuenta ambos estados."
    )


@spanish("current-flat")
def current_flat(below_pct: float) -> str:
    return (
        f"La corriente apenas varía de un momento a otro (menos del {below_pct:.0f} % de su promedio): no se "
        "ve rizado de conmutación y por eso no se da la velocidad. Quizá la bomba está parada o no tiene "
        "escobillas, o la pinza es demasiado lenta o está en otra carga."
    )


@spanish("ripple-untold", "irregular")
def ripple_irregular() -> str:
    return "No se da el rizado: las vueltas son demasiado irregulares para promediarlas."


@spanish("ripple-untold", "too-slow")
def ripple_too_slow() -> str:
    return "No se da el rizado: caen muy pocas muestras en cada onda para mostrar su altura."


@spanish("ripple-untold", "foreign")
def ripple_foreign() -> str:
    return "No se da el rizado: lo que se repite en la grabación quizá no sea de la bomba."


@spanish("ripple-untold", "open")
def ripple_open() -> str:
    return "No se da el rizado: se lee de la vuelta promedio, y la señal admite vueltas de distinta duración."


@spanish("probe-factor-doubtful")
def probe_factor_doubtful(mean_a: float) -> str:
    return (
        f"Un promedio de {mean_a:.3g} A es poco probable en una bomba de combustible: revise los mV/A de la "
        "pinza."
    )


@spanish("too-few-turns")
def too_few_turns(turns: float, needed: float) -> str:
    return (
        f"En la marcha estable hay solo {turns:.1f} vueltas y hacen falta {needed:.0f} para dar la "
        "velocidad: use una base de tiempo más larga, 100 ms o más."
    )


@spanish("sampled-too-slowly", "folded")
def ripple_folded(samples_a_ripple: float) -> str:
    return _slow(samples_a_ripple, "así que una onda más rápida puede parecer lenta", "")


@spanish("sampled-too-slowly", "segments-untold")
def slow_for_untold_segments(samples_a_ripple: float) -> str:
    why = "muy pocas para dar la velocidad mientras no se indiquen las delgas"
    return _slow(samples_a_ripple, why, "indique cuántas tiene la bomba, o ")


@spanish("sampled-too-slowly", "far-speed")
def slow_for_a_far_speed(samples_a_ripple: float) -> str:
    return _slow(samples_a_ripple, "muy pocas para dar una velocidad tan lejana de la última visita", "")


def _slow(samples: float, why: str, instead: str) -> str:
    return (
        f"Solo {samples:.1f} muestras caen en cada onda del rizado, {why}: {instead}capture de nuevo a "
        "20 kS/s o más."
    )


@spanish("speed-refused")
def speed_refused() -> str:
    return (
        "Ningún rizado sobresale del ruido, así que no se puede dar la velocidad: ponga la pinza en el cable "
        "de una sola bomba, elija un rango menor y 100 ms o más, y capture de nuevo."
    )


@spanish("speed-not-followed")
def speed_not_followed() -> str:
    return (
        "La velocidad cambia más rápido de lo que el rizado deja seguirla: espere a que la bomba marche "
        "estable y tenga combustible, y capture de nuevo."
    )


@spanish("speed-differs")
def speed_differs(expected_rpm: float, rpm: float) -> str:
    return (
        f"Por la velocidad de la última visita se esperan unas {expected_rpm:.0f} rpm, la señal muestra "
        f"{rpm:.0f}: ¿es la misma bomba, en el mismo estado?"
    )


@spanish("segments-contradicted")
def segments_contradicted(looks_like: int, told: int, rpm: float) -> str:
    return (
        f"El registro parece de {looks_like} delgas, a {rpm:,.0f} rpm; se indicaron {told}, así que no se "
        "da velocidad: ¿es correcto el número, y el motor de dos polos? O es otra bomba, o el cable de otro "
        "motor."
    )


@spanish("speed-undecided", "far")
def speed_far(rpm: float, expected_rpm: float) -> str:
    return (
        f"{rpm:.0f} rpm cuadra, pero está muy lejos de las {expected_rpm:.0f} rpm de la última visita: "
        "asegúrese de que sea la misma bomba y de que su última velocidad esté bien, y capture de nuevo."
    )


@spanish("speed-undecided", "poles")
def poles_open(rpm: float) -> str:
    return (
        f"La señal admite {rpm:.0f} rpm de un motor de dos polos, o {rpm / 2:.0f} rpm de uno de cuatro: "
        "indique los polos y el número de delgas."
    )


@spanish("speed-undecided", "open")
def speed_open(rpm: list[float], segments_told: bool) -> str:
    advice = (
        "capture de nuevo con un rango menor y 200 ms o más"
        if segments_told
        else "indique el número de delgas, mejor en el tipo de bomba, si se conoce"
    )
    if len(rpm) == 1:
        return f"{rpm[0]:.0f} rpm cuadra, pero la señal no descarta otra velocidad: {advice}."
    shown = " o ".join(f"{each:.0f}" for each in rpm)
    return f"La señal admite {shown} rpm y no descarta ninguna con seguridad: {advice}."
