"""What to do while a vehicle stands in the bay, in Spanish."""

from __future__ import annotations

from ingest.wording.language import SPANISH, learn

WORDS = {
    "No work on this pump pays on what is known: the next test decides.": (
        "Con lo que se sabe, ningún trabajo en esta bomba conviene: decide la próxima prueba."
    ),
    "{text} Not for this reading alone: by all that is known of it, {risk} % of such pumps fail before their "
    "next stop.": (
        "{text} No solo por esta lectura: por todo lo que se sabe, falla {risk} % de tales bombas antes "
        "de su próxima parada."
    ),
    "{text} It pays whatever the finding's next test would show: that need not be waited for.": (
        "{text} Conviene dé lo que dé la próxima prueba del hallazgo: no hace falta esperarla."
    ),
    "Nothing about this pump pays now.": "Por ahora no conviene hacer nada en esta bomba.",
    "Not now: {job} at its {at} pays better.": "Ahora no: conviene más {job} en {at}.",
    "check": "revisar",
    "check and change": "revisar y cambiar",
    "capture first": "capturar primero",
    "change": "cambiar",
    "next stop": "su próxima parada",
    "extra stop": "una parada aparte",
    "Check it now, while it is in the bay: the engine may get no fuel, {hours} h.": (
        "Revísela ahora, mientras está en el taller: puede que el motor no reciba combustible, {hours} h."
    ),
    (
        "Mend what was found and capture again, then change it now unless that clears the reading ({share} % "
        "end in a change), pump {pump_type}, {hours} h."
    ): (
        "Repare lo que se encontró y capture de nuevo; después cámbiela ahora, salvo que la lectura se "
        "normalice ({share} % termina en cambio), bomba {pump_type}, {hours} h."
    ),
    "Mend what was found now, while it is in the bay, {hours} h.": (
        "Repare ahora lo que se encontró, mientras está en el taller, {hours} h."
    ),
    "Check it now, while it is in the bay ({share} % end in a change), {hours} h.": (
        "Revísela ahora, mientras está en el taller ({share} % termina en cambio), {hours} h."
    ),
    (
        "Check and change it now, while it is in the bay ({share} % end in a change), pump "
        "{pump_type}, {hours} h."
    ): (
        "Revísela y cámbiela ahora, mientras está en el taller ({share} % termina en cambio), "
        "bomba {pump_type}, {hours} h."
    ),
    "Change it now, while it is in the bay, pump {pump_type}, {hours} h.": (
        "Cámbiela ahora, mientras está en el taller, bomba {pump_type}, {hours} h."
    ),
    "{text} But {doubts}.": "{text} Pero {doubts}.",
    "depot {depot} is closed on {weekday} {day}": "el depósito {depot} está cerrado el {weekday} {day}",
    "its depot is closed on {weekday} {day}": "su depósito está cerrado el {weekday} {day}",
    "over 99": "más de 99",
    "under 1": "menos de 1",
    "the bay is over by {hours} h in the week of {monday}": (
        "al taller le faltan {hours} h en la semana del {monday}"
    ),
    "no stock is on record, so its part is taken to be ordered (earliest {ready})": (
        "no hay existencias registradas: se cuenta con pedir el repuesto (lo más pronto {ready})"
    ),
    "no part is left by then (earliest {ready})": "para entonces no queda repuesto (lo más pronto {ready})",
    "Monday": "lunes",
    "Tuesday": "martes",
    "Wednesday": "miércoles",
    "Thursday": "jueves",
    "Friday": "viernes",
    "Saturday": "sábado",
    "Sunday": "domingo",
    "Take the clamp off, check its zero, and capture again at the same point and state.": (
        "Quite la pinza, revise su cero y capture de nuevo en el mismo punto y estado."
    ),
    "Zero the clamp and capture it: no reading of it is on record, or none that is young enough.": (
        "Ponga la pinza a cero y capture: no hay lectura registrada, o ninguna lo bastante reciente."
    ),
    "Volts and both drops at the pump under load.": "Tensión y ambas caídas en la bomba bajo carga.",
    "Pressure at the port, held against the type's rating.": (
        "Presión en la toma, comparada con la nominal del tipo."
    ),
    "Volume delivered in a measured time.": "Volumen entregado en un tiempo medido.",
    "Outlet filter: age, and change it if in doubt.": (
        "Filtro de salida: su edad, y cámbielo en caso de duda."
    ),
    "Fuel in the tank: enough of it, and the right kind.": (
        "Combustible en el tanque: suficiente, y del tipo correcto."
    ),
    "With the tank open: strainer, in-tank hose, regulator and connector looked at, for heat too.": (
        "Con el tanque abierto: mire colador, manguera interior, regulador y conector, también por calor."
    ),
    "With the tank open: {parts} looked at, for heat too.": (
        "Con el tanque abierto: mire {parts}, también por calor."
    ),
    "strainer": "colador",
    "in-tank hose": "manguera interior",
    "regulator": "regulador",
    "connector": "conector",
    "{some} and {last}": "{some} y {last}",
    (
        "Capture again after any repair; change the pump unless a named cause explains the reading "
        "and it clears."
    ): (
        "Capture de nuevo tras toda reparación; cambie la bomba, salvo que una causa con nombre "
        "explique la lectura y esta se normalice."
    ),
    "Log the new reading with the drops: go on only if its answer is to change the pump.": (
        "Registre la nueva lectura con las caídas: siga solo si la respuesta es cambiar la bomba."
    ),
    "Change the pump; capture the new one at this stop, as its baseline.": (
        "Cambie la bomba; capture la nueva en esta parada, como su línea base."
    ),
    "Clean the tank and renew the strainer with the pump.": (
        "Limpie el tanque y renueve el colador junto con la bomba."
    ),
    "Record what was mended as work done: later readings are held against those since.": (
        "Registre como trabajo hecho lo que se reparó: desde ahí se comparan las lecturas posteriores."
    ),
    "Write down what was examined and found, cause or no other cause.": (
        "Anote qué se examinó y qué se encontró, una causa o ninguna otra."
    ),
    "As of {day}, the day of the newest fact on record: nothing later is known.": (
        "Al {day}, el día del dato más nuevo del registro: no se sabe nada posterior."
    ),
}

learn(SPANISH, WORDS)
