"""What each trade rule finds, in Spanish, by the rule's id."""

from __future__ import annotations

FINDINGS = {
    "clipped": (
        "La señal está cortada arriba o abajo, así que promedio y rizado salen mal: esta lectura no "
        "juzga nada."
    ),
    "probe-factor": (
        "El promedio es unas diez veces, o la décima parte, de lo que debería consumir esta bomba: es "
        "más probable que esté mal el factor o el rango de la pinza que la bomba."
    ),
    "no-current-unproven": (
        "Tan poca corriente puede ser ninguna: una pinza cuyo cero nadie revisó marca lo mismo sin nada "
        "dentro. Todavía no dice nada de esta bomba."
    ),
    "no-current-running": (
        "Sin corriente con el motor en marcha: la pinza, el cable, el fusible del medidor, o otra "
        "bomba alimenta el motor. No dice nada de esta bomba."
    ),
    "no-current": (
        "Sin corriente: no hay orden de marcha, no hay tensión en el conector enchufado, o la bomba está "
        "muerta. Las caídas de tensión leídas sin corriente no prueban nada."
    ),
    "stalled": (
        "La bomba no gira: la corriente de una que está parada, con la tensión que tenía, y sin rizado "
        "de conmutación. Agarrotada o trabada. Apague: el fusible y el cableado se calientan; no lo "
        "intente otra vez."
    ),
    "far-above-no-ripple": (
        "Mucha más corriente de la que debería consumir con la tensión que tenía, y no se ve rizado: ancho "
        "de banda, sin escobillas, otra carga, un corto, o una bomba que no gira. No la deje en marcha: el "
        "cableado se calienta."
    ),
    "leads-swapped": (
        "Una caída de tensión sale menor que cero: las puntas del medidor estaban cambiadas, así que "
        "esa caída no se conoce."
    ),
    "segments-contradicted": (
        "La señal no cuadra con el número de delgas indicado, así que velocidad y rizado no se conocen: un "
        "número equivocado, otra bomba, o el cable de otro motor."
    ),
    "speed-unlike-last": (
        "La velocidad a la que lleva la señal está demasiado lejos de la de la última visita para darla: una "
        "de las dos se leyó mal, o es otra bomba."
    ),
    "no-commutation": (
        "La corriente es lisa con un muestreo que mostraría el rizado de un colector: otro cable, una bomba "
        "sin escobillas o que no gira, o una pinza demasiado lenta para mostrarlo."
    ),
    "drops-impossible": (
        "Las caídas y la tensión en la bomba suman más de lo que dan batería y carga: una de ellas se leyó "
        "entre puntos equivocados, así que no se sabe cuánto pierde el circuito."
    ),
    "circuit-over-volts": (
        "La tensión es demasiado alta: la carga está fuera de control. Por eso la corriente y la "
        "velocidad salen altas."
    ),
    "circuit-low-volts-primed": (
        "La tensión es baja durante el cebado: batería descargada, o tensión que se pierde en el "
        "camino.{lost} Esta lectura no juzga la bomba."
    ),
    "circuit-low-volts": (
        "La tensión en la bomba es baja para un motor en marcha, diga lo que diga la corriente: "
        "cableado, batería o carga.{unsaid}{lost}"
    ),
    "circuit-drop": "Se pierde demasiada tensión bajo carga: {drops}.",
    "connector-bad": (
        "El conector se encontró malo y no consta como renovado. Uno del tanque que se calentó se renueva "
        "junto con la bomba."
    ),
    "filter-or-strainer-bad": "El filtro o el colador se encontró malo y no consta que se haya renovado.",
    "hose-or-regulator-bad": (
        "La manguera o el regulador se encontró malo y no consta que se haya renovado."
    ),
    "fuel-wrong": "El combustible del tanque no es del tipo para el que está hecha esta bomba.",
    "duty-unknown": (
        "La alimentación es pulsada y no se conoce su ciclo de trabajo: no se pueden juzgar "
        "corriente, presión ni caudal."
    ),
    "speed-command-unknown": (
        "Esta alimentación tiene dos velocidades y nadie dice cuál se mandó: una lectura baja puede "
        "ser la velocidad baja."
    ),
    "supply-switched": (
        "La corriente se corta muchas veces por segundo, por una alimentación pulsada de la que nadie dijo "
        "nada o por una delga muerta, con la que una bomba puede no volver a arrancar: no se pueden juzgar "
        "corriente, rizado ni velocidad."
    ),
    "frozen": (
        "Todas las muestras son iguales, como no lo es ninguna corriente: el rango es demasiado chico o "
        "demasiado grueso, o el registrador se detuvo. Esta lectura no juzga nada."
    ),
    "ripple-unsure": (
        "Lo que varía es varias veces el rizado de una bomba buena, o el propio, pero no se dio la vuelta "
        "a la que pertenece: una delga o bobina muerta, o escobillas, con lo que una bomba puede no "
        "volver a arrancar, o el motor, otra carga o una alimentación pulsada."
    ),
    "pressure-high": (
        "La presión está muy por encima de la nominal: regulador o retorno, o un filtro después del "
        "manómetro. La corriente es consecuencia."
    ),
    "does-not-deliver-volts-unknown": (
        "El sistema de la bomba entrega demasiado poco: {shortfall}, pero no está probado que haya buena "
        "tensión en la bomba: una alimentación débil se ve igual."
    ),
    "does-not-deliver": (
        "El sistema de la bomba no entrega, diga lo que diga la corriente: {shortfall}.{leads}{command} "
        "Nivel y tipo de combustible, colador, manguera en el tanque, regulador, filtro; si están bien, "
        "la bomba."
    ),
    "delivers-little": (
        "El sistema de la bomba entrega poco: {shortfall}, donde el tipo no indica un mínimo "
        "propio.{leads}{command} Nivel, colador, manguera en el tanque, regulador y filtro van antes "
        "que la bomba."
    ),
    "air-after-repair": (
        "Poca corriente y velocidad alta justo después de una reparación: aire en la línea."
    ),
    "new-pump-below": (
        "Recién reparada y por debajo de la especificación: el circuito, aire en la línea, una "
        "manguera doblada o la pieza equivocada."
    ),
    "starved-low-tank": (
        "Poca corriente con el tanque bajo: la bomba puede estar tomando aire. Cargue combustible "
        "antes que nada."
    ),
    "low-current-but-delivers": (
        "La corriente es baja, pero lo que se midió de presión y caudal se cumple: la bomba hace su "
        "trabajo. Es más probable que fallen la pinza o la especificación."
    ),
    "runs-dry": (
        "Demasiado poca corriente a alta velocidad, que ninguna alimentación débil da: la bomba no mueve "
        "combustible, como una que gira en seco. No la deje en marcha: el combustible la enfría y la lubrica."
    ),
    "fast-but-delivers": (
        "La bomba gira a más de {rpm_high:,.0f} rpm y entrega: quizá este tipo simplemente sea rápido."
    ),
    "ripple-jumped": (
        "El rizado subió de golpe respecto al nivel propio de esta bomba: colector, una delga, una "
        "bobina del devanado o las escobillas.{segment} Una bomba así puede no volver a arrancar: "
        "decida antes de que salga."
    ),
    "average-very-low": (
        "El promedio está muy por debajo de la especificación con alimentación y masa probadas: la "
        "bomba apenas trabaja."
    ),
    "speed-high-poor-delivery": (
        "La bomba gira a más de {rpm_high:,.0f} rpm y nada muestra que mueva combustible."
    ),
    "wear-both-down": (
        "La bomba gira mucho más lento que su línea base con buena tensión y sin más corriente: "
        "desgaste de escobillas o colector, o un conector recalentado en el tanque."
    ),
    "average-below": (
        "El promedio está por debajo de la especificación: falla de alimentación o masa, o una bomba "
        "mal alimentada de combustible o gastada."
    ),
    "average-above": (
        "El promedio está por encima de la especificación: una restricción, roce, presión equivocada "
        "o un devanado en corto."
    ),
    "speed-doubted": (
        "La velocidad es una a la que ninguna bomba gira con su tensión y esta corriente, o cerca del "
        "doble o de la mitad de la propia, o menos, con igual corriente: es más probable que esté mal dada "
        "que girada."
    ),
    "current-down-speed-up": (
        "La corriente bajó y la velocidad subió respecto a su línea base: falta de combustible en la "
        "aspiración, vapor{hot} o desgaste hidráulico. La tensión baja la haría más lenta."
    ),
    "current-up-speed-down": (
        "La corriente subió y la velocidad bajó respecto a su línea base: una restricción, presión "
        "demasiado alta, el combustible equivocado, o roce."
    ),
    "speed-down": (
        "La bomba gira mucho más lento que su línea base: primero tensión baja, luego roce o desgaste "
        "de escobillas."
    ),
    "speed-low": (
        "La bomba gira a menos de las {type_rpm_low:,.0f} rpm de su tipo: tensión baja, roce o "
        "desgaste de escobillas."
    ),
    "slow-but-delivers": (
        "La bomba gira a menos de las {rpm_low:,.0f} rpm habituales y entrega: quizá este tipo "
        "simplemente sea lento; pero las escobillas gastadas entregan hasta que dejan de hacerlo."
    ),
    "speed-low-usual": (
        "La bomba gira a menos de las {rpm_low:,.0f} rpm habituales, y su tipo no tiene margen "
        "propio: tensión baja, roce, desgaste de escobillas, o un tipo lento."
    ),
    "current-changed-speed-same": (
        "El promedio se apartó mucho de su línea base y la velocidad no: la pinza, otra carga en su "
        "cable o la presión, más que el motor."
    ),
    "average-down": (
        "El promedio está muy por debajo de su línea base: falla de alimentación o masa, falta de "
        "combustible en la aspiración o desgaste."
    ),
    "average-up": (
        "El promedio está muy por encima de su línea base: una restricción, roce, presión equivocada "
        "o un devanado en corto."
    ),
    "average-odd-high": (
        "Más de {usual_high:g} A, y no se conoce la especificación: más de lo que consume la mayoría "
        "de las bombas de combustible. Presión, roce, un corto, o la pinza."
    ),
    "average-odd-low": (
        "Menos de {usual_low:g} A, y no se conoce la especificación: menos de lo que consume la "
        "mayoría de las bombas de combustible. Tensión, falta de combustible en la aspiración, o la "
        "pinza."
    ),
    "average-unlike-type": (
        "No se conoce la especificación, y el promedio está lejos de los {type_a:.2f} A que consumen "
        "las bombas de este tipo."
    ),
    "ripple-very-high": (
        "El rizado es varias veces el de cualquier bomba buena: una bobina abierta o en corto, una "
        "delga muerta, o las escobillas.{segment} Una bomba así puede no volver a arrancar."
    ),
    "segment-odd": (
        "Una delga se aparta de las demás.{segment} Está fallando una delga, su bobina o una "
        "escobilla{unseen}."
    ),
    "state-untold": (
        "No se anotó cómo marchaba el motor, así que el promedio no se compara con nada suyo; junto a las "
        "lecturas de esta bomba en {other_state} se aparta {other_pct:+.0f} %."
    ),
    "ripple-high-speed-down": (
        "El rizado pasa del {ripple_limit:.0f} % del promedio y la bomba gira más lento que su línea "
        "base con buena tensión: desgaste de escobillas o colector."
    ),
    "ripple-high": (
        "El rizado pasa del {ripple_limit:.0f} % del promedio: conmutación irregular o una "
        "restricción. Eso solo no condena nada."
    ),
    "irregular": (
        "La bomba marcha irregular, con chispas o velocidad inestable: escobillas, vapor, o una "
        "alimentación inestable."
    ),
    "charging-low": (
        "Con el motor en marcha la batería tiene {battery:.1f} V: no se está cargando. La bomba se juzga a "
        "la tensión que tuvo."
    ),
    "supply-fell": (
        "La bomba recibe {at_pump:.1f} V, {fell:.1f} V menos que antes: se pierde tensión en el camino, o "
        "bajó la carga. La bomba se juzga con la tensión que tuvo."
    ),
    "average-undecided": (
        "El promedio queda fuera de la especificación por menos de lo que permiten la exactitud de la "
        "pinza y su cero (±{accuracy:.2f} A): eso no decide nada."
    ),
    "unlike-the-one-before": (
        "El promedio se aparta {one_pct:+.0f} % de la única lectura anterior con la que se puede comparar: "
        "una sola no dice cuál de las dos es la correcta."
    ),
    "pressure-not-held": (
        "La presión cae cuando la bomba para: pierde su válvula de retención, el regulador o un "
        "inyector. Causa arranque largo, no una bomba débil."
    ),
    "complaint-open": (
        "Hay una queja abierta y la lectura no muestra la causa: no se reprodujo. Sigue abierta hasta "
        "que consten como buenos la presión retenida, el caudal, el conector y una prueba en "
        "caliente, o se encuentre una causa."
    ),
    "average-near-high": (
        "El promedio está cerca del extremo alto de la especificación: lo más probable es una "
        "restricción del lado de salida."
    ),
    "average-near-low": (
        "El promedio está cerca del extremo bajo de la especificación; por sí solo no es una falla, "
        "pero cuenta junto con una queja de mezcla pobre sin explicar."
    ),
    "no-reading": "No se midió la corriente promedio.",
    "speed-band-unset": (
        "La velocidad está fuera de las {rpm_low:,.0f} a {rpm_high:,.0f} rpm habituales de las bombas "
        "de gasolina, lo que no dice nada de este tipo."
    ),
    "reduced-command": (
        "Leída con mando reducido: se compara solo con lecturas de esta bomba con el mismo mando, no "
        "con su especificación."
    ),
    "no-specification": (
        "Nada se ve raro, pero no se conoce la especificación: no se puede juzgar el nivel en sí."
    ),
    "tank-low": (
        "Nada fuera de lo común; el tanque está por debajo de un cuarto, donde la bomba se calienta."
    ),
    "healthy": "Nada fuera de lo común.",
}
