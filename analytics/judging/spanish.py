"""The next tests of the trade rules and steps in Spanish, by their ids, and the phrases between them."""

from __future__ import annotations

from analytics.judging.rules import RULES
from analytics.judging.spanish_findings import FINDINGS
from analytics.judging.steps import STEPS
from ingest.wording.language import SPANISH, learn

# A rule's own words for a step, by the rule's id and the step's.
OWN_STEPS = {
    ("clipped", "clamp"): "Elija un rango mayor y capture de nuevo.",
    ("probe-factor", "clamp"): "Revise el factor y el rango de la pinza, póngala a cero y capture de nuevo.",
    (
        "supply-switched",
        "command",
    ): "Indique cómo se alimenta la bomba y con qué ciclo, o aliméntela directo, "
    "y capture de nuevo antes de que salga.",
    ("drops-impossible", "mend circuit"): "Lea otra vez ambas caídas bajo carga: del positivo de la "
    "batería al de la bomba, y del negativo de la bomba al de la batería.",
    ("frozen", "clamp"): "Revise el rango, y que el registrador corra, y capture de nuevo.",
    (
        "ripple-unsure",
        "repeat",
    ): "Capture de nuevo en un cebado, con el motor apagado y el número correcto de delgas, antes de que "
    "salga.",
    (
        "ripple-unsure",
        "repeat, primed",
    ): "Mire chispas y delgas, y capture otra vez el cebado entero, con el "
    "número correcto de delgas, antes de que salga.",
    (
        "ripple-unsure",
        "repeat, segments contradicted",
    ): "Cuente las delgas o busque su número y anótelo; luego capture un cebado con el motor apagado, antes "
    "de que salga.",
    ("segments-contradicted", "repeat"): "Cuente las delgas o busque su número y anótelo; si era correcto, "
    "ponga la pinza en el cable propio de la bomba y capture de nuevo.",
    ("speed-unlike-last", "repeat"): "Asegúrese de la bomba, sus delgas y polos, y capture de nuevo: dos que "
    "coinciden valen contra una.",
    ("wear-both-down", "connector, untold"): "Programe un reemplazo, salvo que el conector del tanque esté "
    "caliente o flojo: renuévelo primero y capture de nuevo.",
    ("runs-dry", "level"): "Apague; lea el nivel de combustible y busque un colador tapado o una manguera "
    "rota.",
    (
        "no-current-unproven",
        "clamp",
    ): "Ponga a cero la pinza, póngala en el cable propio de la bomba, mande la "
    "bomba a marchar y capture de nuevo.",
    ("speed-doubted", "repeat"): "Asegúrese del número de delgas y de la tensión en la bomba, y capture de "
    "nuevo.",
    (
        "speed-doubted",
        "clamp",
    ): "Se mantiene: asegúrese de qué bomba y cuántas delgas hay, y capture de nuevo.",
    ("no-current-running", "clamp"): "Ponga la pinza en el cable propio de la bomba, revise el fusible y el "
    "rango del medidor, y capture de nuevo.",
    ("no-current", "loaded volts, volts low"): "Casi no llega tensión: repare cable, relé, fusible o masa, y "
    "mande la bomba a marchar otra vez.",
    ("no-current", "repeat"): "Mande la bomba a marchar otra vez con la pinza a cero, para confirmar.",
    (
        "far-above-no-ripple",
        "clamp",
    ): "Apague; revise rango y cable, y haga una captura breve con muestreo más rápido.",
    ("no-commutation", "repeat"): "Ponga a cero la pinza en el cable propio de la bomba, oiga que marcha, y "
    "capture de nuevo.",
    ("leads-swapped", "mend circuit"): "Ponga bien las puntas del medidor y mida otra vez ambas caídas de "
    "tensión bajo carga.",
    ("circuit-over-volts", "mend circuit"): "Revise la tensión de carga y el regulador, y capture de nuevo.",
    (
        "circuit-low-volts-primed",
        "mend circuit",
    ): "Cargue la batería, mida ambas caídas de tensión bajo carga, luego cebe y capture de nuevo.",
    ("circuit-low-volts-primed", "mend circuit, drops good"): "Las caídas de tensión están bien: cargue y "
    "pruebe la batería, luego cebe y capture de nuevo.",
    (
        "circuit-low-volts-primed",
        "mend circuit, drops high",
    ): "Limpie o repare el circuito del lado de {sides}, cargue la batería, luego cebe y capture de nuevo.",
    (
        "circuit-low-volts",
        "mend circuit, drops high",
    ): "Limpie o repare el circuito del lado de {sides}, revise batería y carga, y capture de nuevo.",
    ("circuit-low-volts", "mend circuit"): "Mida la tensión de carga en la batería y después ambas caídas de "
    "tensión en la bomba bajo carga.",
    ("circuit-low-volts", "mend circuit, state untold"): "Diga si el motor estaba en marcha; si lo estaba, "
    "mida la tensión de carga en la batería y ambas caídas en la bomba.",
    ("circuit-low-volts", "mend circuit, drops good"): "Las caídas de tensión están bien: revise batería y "
    "carga, y capture de nuevo.",
    ("circuit-drop", "mend circuit"): "Limpie o repare el circuito del lado de {sides}, mida y capture de "
    "nuevo.",
    (
        "connector-bad",
        "mend circuit",
    ): "Renueve el conector y anótelo, mida ambas caídas de tensión y capture de nuevo.",
    ("filter-or-strainer-bad", "mend filter"): "Renueve lo que se encontró malo, limpie el tanque si fue "
    "suciedad, y capture de nuevo.",
    (
        "hose-or-regulator-bad",
        "mend flow",
    ): "Renueve la manguera o el regulador que se encontró malo, mida la presión y capture de nuevo.",
    ("fuel-wrong", "mend flow"): "Asegúrese de qué combustible hay en el tanque; vacíe y recargue antes de "
    "juzgar nada más.",
    ("duty-unknown", "command"): "Anote el ciclo de trabajo mandado, o mande el máximo, y capture de nuevo.",
    ("speed-command-unknown", "command"): "Indique qué velocidad se mandó; mande la alta y capture de nuevo.",
    ("pressure-high", "mend flow"): "Busque una obstrucción en el regulador, el retorno y un filtro después "
    "del manómetro, y mida la presión.",
    (
        "does-not-deliver-volts-unknown",
        "mend circuit",
    ): "Mida la tensión en la bomba bajo carga, con el motor en marcha, y otra vez la presión o el caudal.",
    (
        "does-not-deliver-volts-unknown",
        "mend circuit, drops good",
    ): "Lleve la tensión en la bomba a más de 13: batería y carga; luego mida otra vez.",
    **{
        (rule, step): said
        for rule in ("does-not-deliver", "delivers-little")
        for step, said in {
            "hose, held back": "Siga la línea de la bomba al manómetro, también en el tanque, en busca de un "
            "doblez o aplastamiento.",
        }.items()
    },
    **dict.fromkeys(
        (
            ("average-above", "filter, built in"),
            ("current-up-speed-down", "filter, built in"),
            ("average-up", "filter, built in"),
        ),
        "Reserve un reemplazo, salvo que un filtro de salida pueda renovarse solo: renuévelo primero, anote "
        "el filtro del tipo como inline y capture de nuevo.",
    ),
    ("starved-low-tank", "level"): "Cargue combustible hasta más de un cuarto de tanque y capture de nuevo.",
    (
        "low-current-but-delivers",
        "repeat",
    ): "Ponga la pinza a cero, o use otra, y capture de nuevo; revise la especificación.",
    (
        "ripple-jumped",
        "repeat",
    ): "Ponga la pinza a cero, mire chispas y delgas, y capture de nuevo antes de que salga.",
    ("average-very-low", "delivery"): "Asegúrese del mando completo y mida el caudal a presión nominal.",
    (
        "wear-both-down",
        "repeat",
    ): "Ponga la pinza a cero, toque el conector del tanque por si está caliente, y capture de nuevo.",
    ("current-down-speed-up", "level"): "Lea el nivel de combustible, mida el caudal y mire el colador.",
    (
        "current-changed-speed-same",
        "repeat",
    ): "Ponga la pinza a cero, o use otra, en el cable propio de la bomba, y capture de nuevo; después "
    "mida la presión.",
    ("average-odd-high", "pressure"): "Busque la especificación; revise factor y cero de la pinza, y mida la "
    "presión de combustible.",
    ("average-odd-low", "circuit"): "Busque la especificación; revise la pinza, y después tensión y ambas "
    "caídas en la bomba.",
    (
        "average-odd-low",
        "delivery",
    ): "Busque la especificación; revise el factor de la pinza, y mida el caudal.",
    (
        "average-unlike-type",
        "circuit",
    ): "Asegúrese del tipo de bomba, del punto y factor de la pinza; después tensión y ambas caídas.",
    (
        "ripple-very-high",
        "repeat",
    ): "Ponga la pinza a cero, mire chispas y delgas, y capture de nuevo antes de que salga.",
    ("segment-odd", "repeat"): "Ponga la pinza a cero y capture de nuevo; vea si se aparta la misma delga.",
    ("state-untold", "clamp"): "Anote cómo marchaba el motor en esta captura, o capture de nuevo en el mismo "
    "estado que antes.",
    ("ripple-high-speed-down", "repeat"): "Ponga la pinza a cero, mire chispas y delgas, y capture de nuevo.",
    ("ripple-high", "filter"): "Revise el filtro de salida; mire chispas y delgas, y siga la tendencia.",
    (
        "irregular",
        "repeat",
    ): "Ponga la pinza a cero y capture de nuevo durante el cebado al dar contacto, con "
    "el motor apagado, para comparar.",
    ("charging-low", "mend circuit"): "Revise batería y carga, y capture de nuevo.",
    (
        "supply-fell",
        "mend circuit",
    ): "Mida la tensión de carga en la batería y luego ambas caídas en la bomba con carga.",
    (
        "supply-fell",
        "mend circuit, drops good",
    ): "Las caídas son buenas: revise batería y carga, y capture de nuevo.",
    ("average-undecided", "repeat"): "Ponga la pinza a cero, use su rango menor u otra pinza, y capture de "
    "nuevo.",
    (
        "unlike-the-one-before",
        "repeat",
    ): "Ponga la pinza a cero y capture de nuevo en el mismo estado y con el "
    "mismo mando: dos que coinciden hacen el nivel de esta bomba.",
    (
        "pressure-not-held",
        "regulator",
    ): "Busque la fuga: cierre el retorno y después la alimentación, solo como lo permita el fabricante.",
    ("complaint-open", "repeat"): "Pruebe en caliente y capture de nuevo mientras se muestre la queja.",
    ("average-near-high", "pressure"): "Revise línea, regulador y retorno midiendo la presión, y capture de "
    "nuevo.",
    ("no-reading", "clamp"): "Cambie lo que dicen las notas y capture de nuevo, o anote el promedio de un "
    "medidor.",
}
# What a rule says once its steps are passed, by its id.
DONE = {
    "segments-contradicted": (
        "Se mantiene: cuente las delgas cuando la bomba salga; hasta entonces solo se conoce el promedio."
    ),
    "speed-unlike-last": "Se mantiene: asegúrese de qué bomba hay, y anote sus delgas y polos.",
    "no-commutation": (
        "Se mantiene: asegúrese del motor y de lo rápida que es la pinza; solo se conoce el promedio."
    ),
    "average-undecided": (
        "Se mantiene, y ninguna pinza dice más: compruebe la pinza con una corriente conocida; la próxima "
        "captura según plan."
    ),
    "no-current": "Sin corriente con tensión probada en el conector enchufado: la bomba falló; cámbiela.",
    "stalled": "Apague y déjela apagada: cambie la bomba, y el conector del tanque si se calentó.",
    "low-current-but-delivers": (
        "Presión y caudal se cumplen: consérvela, y compare la especificación con el número de parte."
    ),
    "fast-but-delivers": (
        "Anote la velocidad habitual de este tipo, para juzgar con ella las próximas lecturas."
    ),
    "slow-but-delivers": (
        "Anote la velocidad habitual de este tipo, y capture a la mitad del intervalo hasta que tenga "
        "línea base."
    ),
    "complaint-open": "Consta que todos los pasos están bien: cierre la queja con lo que se encontró.",
    "average-near-low": "Anótelo y siga.",
    "speed-band-unset": (
        "Anote la velocidad habitual de este tipo, para juzgar con ella las próximas lecturas."
    ),
    "reduced-command": (
        "En la próxima captura mande también velocidad o ciclo completos, para compararla con la "
        "especificación."
    ),
    "no-specification": (
        "Busque la especificación por el número de parte; la próxima captura según el plan."
    ),
    "tank-low": "Cargue combustible; la próxima captura según el plan.",
    "healthy": "La próxima captura según el plan.",
}
# What each step asks for, by its id.
STEPS_SAY = {
    "repeat": "Capture de nuevo, otro día o con la pinza puesta otra vez a cero, para ver si se mantiene.",
    "again": "Mida otra vez presión y caudal otro día, para ver si se mantiene.",
    "clamp": "Revise el cable, el factor y el rango de la pinza, póngala a cero y capture de nuevo.",
    "command": "Mande velocidad completa, o anote el ciclo o la velocidad mandados, y capture de nuevo.",
    "bleed": "Saque el aire: cebe varias veces y capture de nuevo.",
    "circuit": "Mida la tensión y ambas caídas en la bomba bajo carga.",
    "mend circuit": "Repare el circuito y capture de nuevo.",
    "mend filter": "Renuévelo y capture de nuevo.",
    "mend flow": "Repárelo, mida la presión y capture de nuevo.",
    "loaded volts": (
        "Mande la bomba a marchar y lea la tensión en su conector enchufado con una carga de prueba; "
        "mire otra vez."
    ),
    "connector": (
        "Con la bomba en marcha, mueva y toque el conector del tanque y el relé: calor, holgura, corrosión."
    ),
    "level": (
        "Lea el nivel de combustible; si es bajo, cargue a más de un cuarto de tanque y mida el caudal."
    ),
    "fuel": "Tome una muestra del combustible: tipo correcto, sin agua, sin suciedad.",
    "pressure": "Mida la presión de combustible en la toma.",
    "delivery": "Mida el caudal a presión nominal.",
    "hold": "Pruebe en caliente: vea si la presión se mantiene después de parar la bomba.",
    "hose": "Busque una manguera rota o floja entre la bomba y la brida del tanque.",
    "regulator": "Revise el regulador y la línea de retorno.",
    "strainer": "Mire el colador del tanque; límpielo o renuévelo y mida otra vez.",
    "filter": "Revise o cambie el filtro de salida y capture de nuevo.",
}
PHRASES = {
    "Book a replacement: the finding stays and nothing else explains it.": (
        "Programe un reemplazo: el hallazgo se mantiene y nada más lo explica."
    ),
    "Capture at half the usual interval and watch the trend.": (
        "Capture a la mitad del intervalo habitual y siga la tendencia."
    ),
    "The next capture as planned.": "La próxima captura según el plan.",
    "Broke down on the road, confirmed as the pump's.": (
        "Falló en la calle, y se confirmó que fue la bomba."
    ),
    "Replace the pump; only a good reading afterwards clears it.": (
        "Cambie la bomba; solo una buena lectura posterior lo da por resuelto."
    ),
    "Measure both drops at the pump under load.": "Mida ambas caídas de tensión en la bomba bajo carga.",
    "Capture again on another day, to see whether it stays.": (
        "Capture de nuevo otro día, para ver si se mantiene."
    ),
    "Measure the drop on the {side} side as well, under load.": (
        "Mida también la caída de tensión del lado de {side}, bajo carga."
    ),
    "Drops on so little current prove nothing: measure both again under a test load.": (
        "Las caídas de tensión con tan poca corriente no prueban nada: mida ambas otra vez con una carga de "
        "prueba."
    ),
    "Measure volts at the pump under load.": "Mida la tensión en la bomba bajo carga.",
    "Refuel to above a quarter tank, then measure again.": (
        "Cargue combustible a más de un cuarto de tanque y mida otra vez."
    ),
    "Nothing out of the ordinary in the average; a meter tells nothing of ripple and speed.": (
        "Nada fuera de lo común en el promedio; un medidor no dice nada de rizado ni velocidad."
    ),
    "Nothing out of the ordinary in the average, which is all that a brushless pump shows.": (
        "Nada fuera de lo común en el promedio, que es todo lo que muestra una bomba sin escobillas."
    ),
    "Nothing out of the ordinary in what could be measured; the speed was not told.": (
        "Nada fuera de lo común en lo que se pudo medir; no se dio la velocidad."
    ),
    "Booked by a person: {reason}.": "Programado por una persona: {reason}.",
    "Booked by a person: no reason given.": "Programado por una persona, sin motivo.",
    "pressure {pressure} of {rated} rated": "presión {pressure} de {rated} nominal",
    "delivery {flow} L/min": "caudal {flow} L/min",
    "Found on {day}; the newest reading has none alike to be held against and clears nothing.": "Hallado el "
    "{day}; la lectura más nueva no tiene otra parecida con que compararse y no despeja nada.",
    "{what} is too low": "{what}: demasiado bajo",
    "{what} are too low": "{what}: demasiado bajos",
    "delivery": "caudal",
    "prime": "cebado",
    "idle": "ralentí",
    "loaded": "carga",
    "and": "y",
    " Segment {number}{twice} lies {apart} % of the average below the others.": (
        " La delga {number}{twice} está {apart} % del promedio por debajo de las demás."
    ),
    " Segment {number}{twice} lies {apart} % of the average above the others.": (
        " La delga {number}{twice} está {apart} % del promedio por encima de las demás."
    ),
    ", seen twice a turn,": ", vista dos veces por vuelta,",
    " Lost under load: {drops}.": " Se pierde bajo carga: {drops}.",
    "{volts} V on the {side} side (up to {limit} V is usual)": (
        "{volts} V del lado de {side} (lo habitual es hasta {limit} V)"
    ),
    "{volts} V on the {side} side (at {amps} A up to {limit} V is usual)": (
        "{volts} V del lado de {side} (con {amps} A lo habitual es hasta {limit} V)"
    ),
    "supply": "alimentación",
    "ground": "masa",
    "; ripple alone does not show it": "; el rizado solo no lo muestra",
    "Besides:": "Además:",
    " Nobody said that it ran: on a prime, engine off, so many are usual.": (
        " Nadie dijo que estuviera en marcha: en un cebado, con el motor parado, es lo habitual."
    ),
    " More current at less speed than its own baseline: held back after the pump, by the outlet filter or a "
    "kinked line, or the pump drags.": (
        " Más corriente y menos velocidad que su propia base: frenado después de la bomba, por el filtro de "
        "salida o una línea doblada, o la bomba roza."
    ),
    " Fuel enough is moved, so pressure is likelier let off: regulator or in-tank hose first.": (
        " Se mueve bastante combustible, así que es más probable que la presión se escape: primero el "
        "regulador o la manguera en el tanque."
    ),
    " No duty or speed makes that right; note which was commanded.": (
        " Con ningún ciclo ni velocidad es correcto eso; anote cuál se mandó."
    ),
    "Look at its ripple again before it leaves.": "Vea otra vez su rizado antes de que salga.",
    "Make sure of the fuel in the tank.": "Asegúrese de qué combustible hay en el tanque.",
    "Renew what was found bad.": "Renueve lo que se encontró malo.",
    "Then check regulator and return line.": "Luego revise regulador y retorno.",
    "Then level, strainer, hose and regulator.": "Luego nivel, colador, manguera y regulador.",
    "Then check the charging voltage.": "Luego revise la tensión de carga.",
    "Then the battery and both drops.": "Luego la batería y ambas caídas de tensión.",
    "Then mend the circuit.": "Luego repare el circuito.",
    "Renew the connector.": "Renueve el conector.",
    "Then measure delivery.": "Luego mida el caudal.",
    "Then compare its speed again.": "Luego compare otra vez su velocidad.",
    "Then measure fuel pressure.": "Luego mida la presión de combustible.",
    "Check the number of segments.": "Revise el número de delgas.",
    "Then look for the leak.": "Luego busque la fuga.",
    "Retest hot: the complaint stays open.": "Pruebe en caliente: la queja sigue abierta.",
    " in hot fuel": " en combustible caliente",
    "No action; next capture by {day}.": "Sin acción; próxima captura a más tardar el {day}.",
    "No action; next capture by {day} or at {odometer}, whichever comes first.": (
        "Sin acción; próxima captura a más tardar el {day} o con {odometer} en el odómetro, lo que "
        "ocurra primero."
    ),
    "taken when it was new": "tomadas cuando era nueva",
    "taken while its brushes bedded in": "tomadas mientras se asentaban sus escobillas",
    "begun after its brushes had bedded in, so that wear before it doesn't show": (
        "empezada con las escobillas ya asentadas, así que el desgaste de antes no se ve"
    ),
    "taken at an age nobody knows, so perhaps no healthy one": (
        "tomadas a una edad que nadie conoce, quizá ya no sana"
    ),
    "no specification known": "no se conoce la especificación",
    "not with its specification, which holds at full command only": (
        "no con su especificación, que solo vale con mando completo"
    ),
    "its own baseline ({count} readings, {kind})": "su línea base ({count} lecturas, {kind})",
    "one good reading of its own so far, two make a baseline": (
        "una sola lectura buena hasta ahora, dos hacen la línea base"
    ),
    "none of its earlier readings is good and alike in engine state, command, fuel and method": (
        "ninguna lectura anterior es buena y de igual estado del motor, mando, combustible y método"
    ),
    "no baseline of its own yet": "todavía sin línea base",
    "{count} pumps of its type (median {median} A)": "{count} bombas de su tipo (mediana {median} A)",
    "general limits only": "solo límites generales",
    "Compared with {against}": "Comparada con {against}",
    "specification from {low} A": "la especificación desde {low} A",
    "specification up to {high} A": "la especificación hasta {high} A",
    "specification {low}–{high} A": "la especificación {low}–{high} A",
    "corrected for {names}": "corregida por {names}",
    "{names} not recorded": "{names} sin anotar",
    "volts": "tensión",
    "pressure": "presión",
    " at {at} ({how})": " a {at} ({how})",
    ", read to within ±{accuracy} A": ", leída a ±{accuracy} A",
}


def _words() -> dict[str, str | None]:
    words: dict[str, str | None] = dict(PHRASES)
    for rule in RULES:
        words[rule.text] = FINDINGS.get(rule.id)
        words |= {text: OWN_STEPS.get((rule.id, step)) for step, text in rule.says.items()}
        if rule.done:
            words[rule.done] = DONE.get(rule.id)
    return words | {step.text: STEPS_SAY.get(step.id) for step in STEPS}


learn(SPANISH, {english: words for english, words in _words().items() if words})
