"""Log a visit in Spanish: its boxes, buttons and sheet. Units and the names of codes stay the fleet's."""

from __future__ import annotations

from ingest.wording.language import SPANISH, learn

WORDS = {
    "Log a visit": "Registrar una visita",
    "Before you connect anything": "Antes de conectar nada",
    "[S] from public service and teaching texts · [P] common practice, no source found": (
        "[S] de textos públicos de servicio y enseñanza · [P] práctica común, sin fuente encontrada"
    ),
    "The address asks for {what}; this page has no such thing and is shown without it.": (
        "La dirección pide {what}; esta página no tiene tal cosa y se muestra sin ello."
    ),
    "{more} more": "{more} más",
    "Read it, go on": "Leído, continuar",
    "Invented fleet: none of its figures is evidence for a real one.": (
        "Flota inventada: ninguna de sus cifras prueba algo sobre una real."
    ),
    "Unit": "Unidad",
    "type the vehicle's number": "escriba el número del vehículo",
    "Unit {unit} is not in the ledger. Did you mean {meant}?": (
        "La unidad {unit} no está en el registro. ¿Quiso decir {meant}?"
    ),
    " or ": " o ",
    " and unit ": " y la unidad ",
    "Use {unit}": "Usar {unit}",
    "Mind the number: there is also unit {unit}.": "Fíjese en el número: también existe la unidad {unit}.",
    "Unit {unit} is not in the ledger; saving will ask whether to add it.": (
        "La unidad {unit} no está en el registro; al guardar se preguntará si se agrega."
    ),
    "no depot given": "sin depósito indicado",
    "Vehicle not described": "Vehículo sin describir",
    "Last visit {day} at {odometer}.": "Última visita {day} con {odometer}.",
    "Where to clamp on this vehicle": "Dónde poner la pinza en este vehículo",
    "Clamp at": "Pinza en",
    "Fuse": "Fusible",
    "Access": "Acceso",
    "Note": "Nota",
    "Connection point": "Punto de conexión",
    "Unit of {what}": "Unidad de {what}",
    "Odometer": "Odómetro",
    "Engine": "Motor",
    "Which pump": "Qué bomba",
    "Reason": "Motivo",
    "Day": "Día",
    "Clamp or meter": "Pinza o medidor",
    "which one": "cuál",
    "Clamp's factor": "Factor de la pinza",
    "Clamp on record": "Pinza registrada",
    "Factor": "Factor",
    "as the file says": "según el archivo",
    "another": "otro",
    "The clamp was zeroed before it went on": "La pinza se puso a cero antes de colocarla",
    "Only where the file doesn't say enough:": "Solo si el archivo no dice lo suficiente:",
    "Channel with the pump current": "Canal con la corriente de la bomba",
    "Samples a second": "Muestras por segundo",
    "Amps at full scale (sound files)": "Amperios a fondo de escala (archivos de sonido)",
    "Record number (segmented files)": "Número de grabación (archivos segmentados)",
    "today": "hoy",
    "clamp {clamp}": "pinza {clamp}",
    "clamp not named": "pinza sin indicar",
    "zeroed": "a cero",
    "From": "De",
    "Capture file": "Archivo de captura",
    "Meter only": "Solo medidor",
    "Capture from the scope or logger": "Captura del osciloscopio o registrador",
    (
        "Choose {file} again: a cut connection, a reload or a look at another page drops the file. "
        "What was typed is still here."
    ): (
        "Elija otra vez {file}: una conexión cortada, una recarga o mirar otra página suelta el "
        "archivo. Lo escrito sigue aquí."
    ),
    "Figures beside specification and earlier visits": (
        "Cifras junto a la especificación y visitas anteriores"
    ),
    "Reading the file …": "Leyendo el archivo …",
    "Measuring …": "Midiendo …",
    "Storing …": "Guardando …",
    "For the next test,": "Para la próxima prueba,",
    "if it can be told now; the finding follows at once.": (
        "si se puede indicar ahora; el hallazgo se actualiza enseguida."
    ),
    "Volts, pressure, fuel": "Tensión, presión, combustible",
    "Fuel": "Combustible",
    "Work done, or a check": "Trabajo hecho, o una revisión",
    "Work done": "Trabajo hecho",
    "Circuit, delivery, where clamped, a note": "Circuito, caudal, dónde va la pinza, una nota",
    "Clamped at": "Pinza puesta en",
    "grey wire at the tank": "cable gris en el tanque",
    "Engine hours": "Horas de motor",
    "Pump's serial number": "Número de serie de la bomba",
    "Volts at the pump, running": "Tensión en la bomba, en marcha, V",
    "Drop on the supply side, V": "Caída del lado de alimentación, V",
    "Drop on the ground side, V": "Caída del lado de masa, V",
    "Fuel pressure": "Presión de combustible",
    "Fuel temperature": "Temperatura del combustible",
    "Fuel level, %": "Nivel de combustible, %",
    "Delivery": "Caudal",
    "Average on the meter, A": "Promedio en el medidor, A",
    "Pressure held after stopping": "Presión retenida tras parar",
    "50 psi or 3.4 bar": "50 psi o 3.4 bar",
    "Commanded": "Mando",
    "Commanded duty, %": "Ciclo de trabajo mandado, %",
    "Volts read": "Tensión leída",
    "Delivery measured": "Caudal medido",
    "Fuel in the tank": "Combustible en el tanque",
    "The check": "La revisión",
    "Cause": "Causa",
    "Because": "Porque",
    "tank full, part missing, …": "tanque lleno, falta la pieza, …",
    "Closes the complaint of": "Cierra la queja del",
    "none; say why in the note": "ninguna; diga por qué en la nota",
    "Planned stop": "Parada programada",
    "Follow-up": "Seguimiento",
    "Complaint": "Queja",
    "Road call": "Auxilio en ruta",
    "After repair": "Tras reparación",
    "Key-on prime": "Cebado al dar contacto",
    "Idle": "Ralentí",
    "Loaded": "Con carga",
    "Filter changed": "Filtro cambiado",
    "Pump changed, old filter kept": "Bomba cambiada, filtro viejo conservado",
    "Strainer renewed": "Colador renovado",
    "Hose renewed": "Manguera renovada",
    "Regulator renewed": "Regulador renovado",
    "Connector renewed": "Conector renovado",
    "Fuel renewed": "Combustible renovado",
    "Wiring mended": "Cableado reparado",
    "Tank cleaned": "Tanque limpiado",
    "Other work": "Otro trabajo",
    "Filter": "Filtro",
    "Strainer": "Colador",
    "Hose in the tank": "Manguera en el tanque",
    "Regulator": "Regulador",
    "Connector at the tank": "Conector en el tanque",
    "Good": "Bien",
    "Bad": "Mal",
    "Not reached": "No se llegó",
    "at the pump": "en la bomba",
    "at the battery": "en la batería",
    "by scan tool": "con escáner",
    "against pressure": "contra presión",
    "free flow": "flujo libre",
    "Low speed": "Velocidad baja",
    "High speed": "Velocidad alta",
    "Circuit": "Circuito",
    "Hose": "Manguera",
    "Clamp": "Pinza",
    "No other cause, changed": "Sin otra causa, se cambió",
    "Cause found and mended, pump stays": "Causa hallada y reparada, la bomba queda",
    "Could not finish": "No se pudo terminar",
    "Your initials": "Sus iniciales",
    "at every save": "en cada guardado",
    "Save the visit": "Guardar la visita",
    "Not stored yet. Please answer first; if an entry is wrong, correct it above.": (
        "Todavía no se guardó. Responda primero; si un dato está mal, corríjalo arriba."
    ),
    "if it is right: why": "si está bien: por qué",
    "{answer}, because": "{answer}, porque",
    "Give the unit first.": "Indique primero la unidad.",
    "There is nothing to store yet: choose a capture file, or give the meter's average.": (
        "Todavía no hay nada que guardar: elija un archivo de captura, o indique el promedio del medidor."
    ),
    "Give your initials.": "Indique sus iniciales.",
    "A bare yes is no reason; say why it is right, in a few words.": (
        "Un simple sí no es una razón; diga en pocas palabras por qué es correcto."
    ),
    "There is no visit {visit} in this ledger.": "No hay visita {visit} en este registro.",
    "Visit {visit} is stored.": "La visita {visit} está guardada.",
    "Log the next visit": "Registrar la próxima visita",
    "Open this pump's history": "Abrir el historial de esta bomba",
    "Visit sheet to print": "Hoja de la visita para imprimir",
    "A distance without a unit is taken in {unit}; it is kept as typed.": (
        "Una distancia sin unidad se toma en {unit}; se guarda como se escribió."
    ),
    "Without an odometer this reading can't be placed in the pump's trend.": (
        "Sin odómetro esta lectura no se puede ubicar en la tendencia de la bomba."
    ),
    "Say whether the engine primed, idled or was loaded: only like readings are compared.": (
        "Indique si era cebado, ralentí o con carga: solo se comparan lecturas iguales."
    ),
    "Volts at the pump are missing: a low supply looks like a weak pump.": (
        "Falta la tensión en la bomba: una alimentación baja se ve como una bomba débil."
    ),
    "With the fuel pressure, a restriction can be told from drag.": (
        "Con la presión de combustible se distingue una restricción de un roce."
    ),
    "This pump's baseline has {visits} of {wanted} readings; today's is the next.": (
        "La línea base de esta bomba tiene {visits} de {wanted} lecturas; la de hoy es la siguiente."
    ),
    "This pump has no reading yet: today's capture begins its baseline.": (
        "Esta bomba todavía no tiene lecturas: la captura de hoy inicia su línea base."
    ),
    "This pump is new and its baseline is due: today's capture begins it.": (
        "Esta bomba es nueva y le toca su línea base: la captura de hoy la inicia."
    ),
    "This pump's baseline is due; its brushes may still be bedding in, which is noted with it.": (
        "A esta bomba le toca su línea base; quizá sus escobillas aún se estén asentando, y así se anota."
    ),
    (
        "This pump has no reading yet and has run far: today's capture begins its trend, but is no "
        "baseline of a healthy pump."
    ): (
        "Esta bomba todavía no tiene lecturas y ha andado mucho: la captura de hoy inicia su "
        "tendencia, pero no es línea base de una bomba sana."
    ),
    "? The pump taken off on {day}{place}: what was found in it? Forecasts learn from the answer.": (
        "? La bomba desmontada el {day}{place}: ¿qué se encontró en ella? Los pronósticos aprenden de "
        "la respuesta."
    ),
    "What was found": "Qué se encontró",
    "Keep the finding": "Guardar el hallazgo",
    " and ": " y ",
    "the odometer": "el odómetro",
    "the day it was first fitted": "el día en que se montó por primera vez",
    "the odometer it was fitted at": "el odómetro con que se montó",
    "{distance} on the odometer": "{distance} en el odómetro",
    "{day} or {distance} on the odometer, whichever comes first": (
        "el {day} o los {distance} en el odómetro, lo que ocurra primero"
    ),
    "Out of warranty: it ended at {end}.": "Fuera de garantía: terminó a {end}.",
    "It came off in warranty, which ran until {end}.": (
        "Se desmontó dentro de la garantía, que corría hasta {end}."
    ),
    "In warranty until {end}.": "En garantía hasta {end}.",
    "Its type has a warranty; until when is not known without {missing}.": (
        "Su tipo tiene garantía; hasta cuándo no se sabe sin {missing}."
    ),
    "In warranty until {end}, if at all: {missing} is not known.": (
        "En garantía hasta {end}, si acaso: no se conoce {missing}."
    ),
    "Photos": "Fotos",
    "Photo": "Foto",
    "Where it was clamped": "Dónde se puso la pinza",
    "What they show": "Qué muestran",
    "JPEG, PNG or WebP, up to 10 MB each": "JPEG, PNG o WebP, hasta 10 MB cada una",
    "Keep the photos": "Guardar las fotos",
    "The pump was changed at this stop": "La bomba se cambió en esta parada",
    "The old filter stayed in": "Quedó el filtro viejo",
    "Keep the change": "Guardar el cambio",
    "Why it came off": "Por qué se desmontó",
    "Cause, if known": "Causa, si se conoce",
    "dirt, water, ran dry, wiring …": "suciedad, agua, marchó en seco, cableado …",
    "Type fitted": "Tipo montado",
    "its part number": "su número de parte",
    "Its serial number": "Su número de serie",
    (
        "The old pump's life is closed and the new one begins. Its baseline is due: capture the new "
        "pump now, with the reason After repair. Brushes may bed in over the first {bedded}, so "
        "early readings are marked."
    ): (
        "La vida de la bomba vieja queda cerrada y empieza la nueva. Le toca su línea base: capture "
        "ahora la bomba nueva, con el motivo Tras reparación. Las escobillas pueden asentarse durante "
        "los primeros {bedded}, por eso se marcan las primeras lecturas."
    ),
    "It failed": "Falló",
    "Its readings called for it": "Lo pedían sus lecturas",
    "The tank was open anyway": "El tanque ya estaba abierto",
    "Another reason": "Otro motivo",
    "Worn": "Gastada",
    "Seized": "Agarrotada",
    "Electrical fault": "Falla eléctrica",
    "Tested good": "Probada en buen estado",
    "Not examined": "Sin examinar",
    "Book replacement": "Programar reemplazo",
    "Check and change": "Revisar y cambiar",
    "Check circuit": "Revisar el circuito",
    "Check filter or strainer": "Revisar filtro o colador",
    "Check delivery": "Revisar el caudal",
    "Repeat capture": "Repetir la captura",
    "Shorten interval": "Acortar el intervalo",
    "No action": "Sin acción",
    "Show": "Mostrar",
    "Whole record": "Grabación completa",
    "Steady run": "Marcha estable",
    "Ten turns": "Diez vueltas",
    "Two turns": "Dos vueltas",
    (
        "Current over time, {samples} samples at {rate} a second; each point keeps the lowest and "
        "highest of its samples, so no spike is lost."
    ): (
        "Corriente en el tiempo, {samples} muestras a {rate} por segundo; cada punto conserva la "
        "menor y la mayor de sus muestras, así no se pierde ningún pico."
    ),
    "Current over time.": "Corriente en el tiempo.",
    "Averaged height of each commutator segment in percent of the average current.": (
        "Altura media de cada delga del colector en por ciento de la corriente promedio."
    ),
    (
        "Segment {number} lies lowest, {below} % of the average current below the middle of the "
        "others. Segment 1 is wherever the record began."
    ): (
        "La delga {number} es la más baja, {below} % de la corriente promedio por debajo del medio de "
        "las demás. La delga 1 es donde empezó la grabación."
    ),
    "▲ Warning": "▲ Aviso",
    "? Please check": "? Revise",
    "· Note": "· Nota",
    "{low} to {high} {unit}": "de {low} a {high} {unit}",
    "up to {high} {unit}": "hasta {high} {unit}",
    "average current": "corriente promedio",
    "ripple": "rizado",
    "speed": "velocidad",
    "lowest current": "corriente mínima",
    "highest current": "corriente máxima",
    "ripple, peak to peak": "rizado, pico a pico",
    "one revolution": "una vuelta",
    "% of average": "% del promedio",
    "Figure": "Cifra",
    "Now": "Ahora",
    "Specified": "Especificado",
    "Last visit": "Última visita",
    "First visit": "Primera visita",
    "clamp": "pinza",
    "ripple {pct} % of it": "rizado {pct} % de ella",
    "The speed can't be told from this trace. It allows {speeds}.": (
        "La velocidad no se puede sacar de esta señal. Admite {speeds}."
    ),
    "No action; next capture ": "Sin acción; próxima captura ",
    "Next capture": "Próxima captura",
    "Action.": "Acción.",
    "In the bay.": "En el taller.",
    "Also: {other}": "Además: {other}",
    "Next test.": "Próxima prueba.",
    "Rule: {rule}.": "Regla: {rule}.",
    "under 1 %": "menos del 1 %",
    "over 99 %": "más del 99 %",
    "under": "menos de",
    "time, ms": "tiempo, ms",
    "one turn": "una vuelta",
    "current, A": "corriente, A",
    "current in A": "corriente en A",
    "specified low": "mínimo especificado",
    "specified high": "máximo especificado",
    "weakest": "la más débil",
    "segment": "delga",
    "height, % of average current": "altura, % de la corriente promedio",
    "VIN": "VIN",
    "Position": "Posición",
    "Pump type": "Tipo de bomba",
    "Volts": "Tensión",
    "Drop, supply side": "Caída, lado de alimentación",
    "Drop, ground side": "Caída, lado de masa",
    "Fuel level": "Nivel de combustible",
    "Clamp zeroed before": "Pinza puesta a cero antes",
    "yes": "sí",
    "no": "no",
    "Pump changed at this stop": "Bomba cambiada en esta parada",
    "Technician": "Técnico",
    "Visit {visit}, unit {unit}": "Visita {visit}, unidad {unit}",
    "The visit": "La visita",
    "Figures": "Cifras",
    "Verdict": "Dictamen",
    "Next test": "Próxima prueba",
    "Action": "Acción",
    "In the bay": "En el taller",
    "Trace": "Señal",
    "Trace, one turn shaded": "Señal, una vuelta sombreada",
    "off: {pump}": "salió: {pump}",
    "found {what}": "se encontró: {what}",
    "{off}; on: {pump}": "{off}; entró: {pump}",
    ", serial {serial}": ", número de serie {serial}",
    "Fact": "Dato",
    "Value": "Valor",
    "Notes": "Notas",
    "Initials": "Iniciales",
    "Date": "Fecha",
    "Cautions": "Precauciones",
}

learn(SPANISH, WORDS)
