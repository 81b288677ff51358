"""The step lists that come with tagkit: procedure -> language -> steps. A site edits its own copy."""

from __future__ import annotations

TITLES = {
    "change by lifting": {"en": "Change by lifting", "es": "Cambio por izado"},
    "change by rollers": {"en": "Change by rollers", "es": "Cambio por rodillos"},
    "charging": {"en": "Charging", "es": "Carga"},
    "watering": {"en": "Watering", "es": "Rellenado de agua"},
    "spill": {"en": "Acid spill", "es": "Derrame de ácido"},
}

STEPS: dict[str, dict[str, tuple[str, ...]]] = {
    "change by lifting": {
        "en": (
            "Truck parked, brake set, key off, forks down",
            "Goggles or face shield, gloves, safety shoes on; jewellery off",
            "Battery number and truck number checked: fit and ready",
            "Beam and hoist rated for the battery, insulated, hooks match, inspection in date",
            "Battery disconnected at the connector, never by the cables; caps in place",
            "Retainer off; hooks in all lugs, lift straight up, nobody under or beside the load",
            "Battery in: seated, play within the limit, cable free",
            "Retainer back and locked, connected, truck works",
        ),
        "es": (
            "Carretilla estacionada, freno puesto, llave quitada, horquillas abajo",
            "Gafas o pantalla facial, guantes y calzado de seguridad; sin joyas",
            "Números de batería y carretilla comprobados: apta y lista",
            "Balancín y polipasto con carga suficiente, aislados, ganchos adecuados, revisión vigente",
            "Batería desconectada por el conector, nunca por los cables; tapones puestos",
            "Retén fuera; ganchos en todas las orejas, izar en vertical, nadie debajo ni al lado",
            "Batería dentro: asentada, holgura dentro del límite, cable libre",
            "Retén puesto y bloqueado, conectada, la carretilla funciona",
        ),
    },
    "change by rollers": {
        "en": (
            "Truck parked in line with the stand, brake set, key off",
            "Goggles or face shield, gloves, safety shoes on; jewellery off",
            "Battery number and truck number checked: fit and ready",
            "Roller stand or carriage at the right height, locked to the truck",
            "Battery disconnected at the connector; caps in place; gate or retainer open",
            "Battery drawn out with the puller, hands and feet clear; stop in place on the stand",
            "Battery in: against its stop, cable free",
            "Gate or retainer back and locked, carriage released, connected, truck works",
        ),
        "es": (
            "Carretilla alineada con el bastidor, freno puesto, llave quitada",
            "Gafas o pantalla facial, guantes y calzado de seguridad; sin joyas",
            "Números de batería y carretilla comprobados: apta y lista",
            "Bastidor o carro a la altura correcta y bloqueado con la carretilla",
            "Batería desconectada por el conector; tapones puestos; compuerta o retén abierto",
            "Batería extraída con el tirador, manos y pies fuera; tope puesto en el bastidor",
            "Batería dentro: contra su tope, cable libre",
            "Compuerta o retén puesto y bloqueado, carro suelto, conectada, la carretilla funciona",
        ),
    },
    "charging": {
        "en": (
            "Compartment cover open, caps in place, ventilation running, no flame or sparks",
            "Battery and charger checked: they go together",
            "Temperature below the limit for a start; never a frozen battery",
            "Charger off before it is connected; charger to battery, never to the truck",
            "Charger on, start seen; nothing laid on the battery",
            "At the end: charger off, then disconnect; let the battery rest and cool",
        ),
        "es": (
            "Tapa del compartimento abierta, tapones puestos, ventilación en marcha, sin llama ni chispas",
            "Batería y cargador comprobados: son compatibles",
            "Temperatura por debajo del límite de inicio; nunca una batería congelada",
            "Cargador apagado antes de conectar; cargador a la batería, nunca a la carretilla",
            "Cargador encendido, inicio visto; nada encima de la batería",
            "Al final: cargador apagado y luego desconectar; dejar reposar y enfriar",
        ),
    },
    "watering": {
        "en": (
            "Battery charged and rested (before charging only to cover bare plates)",
            "Goggles or face shield, acid-resistant gloves, apron on; eyewash near",
            "Deionised or distilled water only, never acid",
            "Each cell to the maker's mark, not above",
            "Caps back on, top wiped dry; litres written down",
        ),
        "es": (
            "Batería cargada y reposada (antes de cargar solo para cubrir placas descubiertas)",
            "Gafas o pantalla facial, guantes antiácido y delantal; lavaojos cerca",
            "Solo agua desionizada o destilada, nunca ácido",
            "Cada elemento hasta la marca del fabricante, no más",
            "Tapones puestos, parte superior seca; litros anotados",
        ),
    },
    "spill": {
        "en": (
            "People away, no flame; acid in eyes or on skin: flush 15 minutes, then medical help",
            "Goggles or face shield, acid-resistant gloves, apron, boots on",
            "Spill ringed with the kit, drains kept free of it",
            "Neutralised with sodium bicarbonate in water until it no longer fizzes; tested",
            "Taken up and disposed of by local rule; kit filled again; incident recorded",
        ),
        "es": (
            "Alejar a las personas, sin llama; ácido en ojos o piel: lavar 15 minutos y atención médica",
            "Gafas o pantalla facial, guantes antiácido, delantal y botas puestos",
            "Derrame contenido con el kit, desagües protegidos",
            "Neutralizado con bicarbonato sódico en agua hasta que no burbujee; comprobado",
            "Recogido y eliminado según la norma local; kit repuesto; incidente registrado",
        ),
    },
}
