"""The cautions in Spanish, each beside its English."""

from __future__ import annotations

from ingest.wording.language import SPANISH, learn

CAUTIONS = (
    (
        "The vehicle maker's service information, local codes and licensed practice come first; "
        "where they differ from this page, follow them.",
        "La información de servicio del fabricante del vehículo, las normas locales y la práctica"
        " habilitada van primero; donde difieran de esta página, sígalas.",
    ),
    (
        "Keep sparks, flames and hot lamps away from fuel, and a class B extinguisher within reach.",
        "Mantenga chispas, llamas y lámparas calientes lejos del combustible, y un extintor de "
        "clase B a mano.",
    ),
    (
        "Keep tablets, scopes and chargers away from open fuel, and air the bay well.",
        "Mantenga tabletas, osciloscopios y cargadores lejos de combustible abierto, y ventile "
        "bien el lugar.",
    ),
    (
        "Do not clamp near a leak: stop, cut the supply and mend the leak first.",
        "No ponga la pinza cerca de una fuga: pare, corte la alimentación y repare primero la fuga.",
    ),
    (
        "Relieve fuel pressure before opening a joint, and wrap the joint in a cloth.",
        "Libere la presión de combustible antes de abrir una unión, y envuélvala en un trapo.",
    ),
    (
        "Fuel that reaches a hot exhaust can catch fire.",
        "El combustible que cae sobre un escape caliente puede incendiarse.",
    ),
    (
        "Leave the high-pressure side of a direct-injection system closed.",
        "Deje cerrado el lado de alta presión de un sistema de inyección directa.",
    ),
    (
        "Wear gloves and eye protection whenever a fuel joint is opened.",
        "Use guantes y protección para los ojos siempre que se abra una unión de combustible.",
    ),
    (
        "Never pinch or block a fuel line unless the vehicle maker says so.",
        "Nunca estrangule ni tape una línea de combustible, salvo que el fabricante del vehículo lo indique.",
    ),
    (
        "Never run a removed pump in air. Where its maker asks for a bench test: in test fluid, "
        "through a fuse, switch and battery well away.",
        "Nunca haga funcionar al aire una bomba desmontada. Si su fabricante pide una prueba en "
        "banco: en líquido de prueba, con fusible, interruptor y batería bien lejos.",
    ),
    (
        "LPG is heavier than air and gathers low; CNG rises and is stored at up to some 250 bar: "
        "leave both to people qualified for gas.",
        "El GLP es más pesado que el aire y se junta abajo; el GNC sube y se guarda hasta a unos "
        "250 bar: deje ambos a personal habilitado para gas.",
    ),
    (
        "Clamp insulated low-voltage wiring only; never an orange high-voltage cable.",
        "Ponga la pinza solo en cables aislados de baja tensión; nunca en un cable naranja de alta tensión.",
    ),
    (
        "Make a hybrid unable to start by itself before you lean in.",
        "Impida que un híbrido pueda arrancar solo antes de meter las manos.",
    ),
    (
        "Run a hybrid's pump by the maker's command with starting disabled, never with the engine"
        " ready to start.",
        "Haga funcionar la bomba de un híbrido con la orden del fabricante y el arranque "
        "inhabilitado, nunca con el motor listo para arrancar.",
    ),
    (
        "Piezo injectors work at about 400 V: keep hands and probes off them.",
        "Los inyectores piezoeléctricos trabajan a unos 400 V: no los toque con manos ni puntas.",
    ),
    (
        "Take the battery's negative lead off unless the test needs power.",
        "Quite el cable negativo de la batería, salvo que la prueba necesite tensión.",
    ),
    (
        "It comes off, and goes back on, before the tank is opened or after it is closed: never "
        "where fuel vapour is about.",
        "Se quita, y se vuelve a poner, antes de abrir el tanque o después de cerrarlo: nunca "
        "donde haya vapor de combustible.",
    ),
    (
        "A pump that does not turn draws 15 to 19 A: switch off at once, no second try; a "
        "connector at the tank that ran hot is renewed with the pump.",
        "Una bomba que no gira consume de 15 a 19 A: apague enseguida, sin segundo intento; un "
        "conector del tanque que se calentó se renueva junto con la bomba.",
    ),
    (
        "Earth yourself and the vehicle against static before opening the fuel system.",
        "Conecte a tierra su cuerpo y el vehículo contra la estática antes de abrir el sistema de"
        " combustible.",
    ),
    (
        "A jumper carries a fuse no larger than the circuit's own.",
        "Un puente lleva un fusible no mayor que el del propio circuito.",
    ),
    (
        "Bypassing a relay also bypasses the crash and stall shut-off: stay beside it, keep it "
        "brief, never with a leak.",
        "Puentear un relé también anula el corte por choque y por motor calado: quédese al lado, "
        "que sea breve, y nunca con una fuga.",
    ),
    (
        "An ammeter goes in series, never across the supply; its fuse must stand the inrush (2 to"
        " 5 times running current).",
        "Un amperímetro va en serie, nunca en paralelo con la alimentación; su fusible debe "
        "soportar la corriente de arranque (2 a 5 veces la de marcha).",
    ),
    (
        "A meter's 10 A input does not bear the 15 to 19 A of a stalled pump: use a clamp where a"
        " stall is possible.",
        "La entrada de 10 A de un medidor no soporta los 15 a 19 A de una bomba trabada: use una "
        "pinza donde pueda estarlo.",
    ),
    (
        "Set the brake; keep leads, clamp and sleeves clear of belts and fans.",
        "Ponga el freno; mantenga cables, pinza y mangas lejos de correas y ventiladores.",
    ),
    (
        "Wear eye protection.",
        "Use protección para los ojos.",
    ),
    (
        "Exhaust gas kills: lead it outside, or run the engine in the open.",
        "Los gases de escape matan: llévelos afuera, o haga funcionar el motor al aire libre.",
    ),
)

learn(SPANISH, dict(CAUTIONS))
