"""What is said of a visit besides its notes and questions, in Spanish."""

from __future__ import annotations

from ingest.wording.language import SPANISH, learn

WORDS = {
    "{what} is on hold since {day}: {reason}": "{what} está retenido desde el {day}: {reason}",
    "Lot {lot} of type {type}": "El lote {lot} del tipo {type}",
    "Type {type}": "El tipo {type}",
    "As typed": "Como se escribió",
    "As typed, {value}": "Como se escribió, {value}",
    "It was in psi: {psi} psi, {kpa} kPa": "Era en psi: {psi} psi, {kpa} kPa",
    "The meter was across the pump: leave the drop out": (
        "El medidor estaba en los bornes de la bomba: dejar la caída fuera"
    ),
    "It was in km: {value}": "Era en km: {value}",
    "It was in miles: {value}": "Era en millas: {value}",
    "It is {value}": "Es {value}",
    "It is the same pump": "Es la misma bomba",
    "It was changed: {serial} is in since {day}": "Se cambió: {serial} está montada desde el {day}",
    "With the factor {factor}: {value}": "Con el factor {factor}: {value}",
    "With the clamp's own factor, {factor}: {value}": "Con el factor propio de la pinza, {factor}: {value}",
    "Add unit {unit}": "Agregar la unidad {unit}",
    "Add the pump": "Agregar la bomba",
    "It is unit {unit}": "Es la unidad {unit}",
    "Store it beside the other": "Guardarla junto a la otra",
    "Leave the volts out": "Dejar los voltios fuera",
    "Leave the hours out": "Dejar las horas fuera",
    "It was {day}": "Fue el {day}",
    "Stored as visit {visit} of unit {unit}.": "Guardada como visita {visit} de la unidad {unit}.",
    "One more question about it is in the list of open questions.": (
        "Otra pregunta sobre ella está en la lista de preguntas abiertas."
    ),
    "{count} more are in the list of open questions.": (
        "Otras {count} están en la lista de preguntas abiertas."
    ),
    (
        "These samples are already in the ledger as visit {visit} of unit {unit} on {day}; nothing "
        "was changed."
    ): (
        "Estas muestras ya están en el registro como visita {visit} de la unidad {unit} del {day}; no "
        "se cambió nada."
    ),
    "This is visit {visit} of unit {unit} on {day} already; what it lacked is added to it: {names}.": (
        "Ya es la visita {visit} de la unidad {unit} del {day}; se le añadió lo que le faltaba: {names}."
    ),
    (
        "Other values than typed stand there for {names}: where those are wrong, correct that visit on Pump "
        "history."
    ): (
        "Allí constan otros valores que los escritos para {names}: si son erróneos, corrija esa visita en "
        "el historial de la bomba."
    ),
    "This entry is already in the ledger as visit {visit} of unit {unit} on {day}; nothing was changed.": (
        "Esta anotación ya está en el registro como visita {visit} de la unidad {unit} del {day}; no "
        "se cambió nada."
    ),
    "If unit {unit} is the right one, withdraw that visit first.": (
        "Si la correcta es la unidad {unit}, retire antes esa visita."
    ),
    "Clamp {clamp} was due for a check on {due}.": "A la pinza {clamp} le tocaba revisión el {due}.",
    "Clamp {clamp} was due for a check on {due}; last checked on {checked}.": (
        "A la pinza {clamp} le tocaba revisión el {due}; última revisión el {checked}."
    ),
}

learn(SPANISH, WORDS)
