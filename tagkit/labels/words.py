"""The words on labels, in the languages that labels speak."""

from __future__ import annotations

from functools import lru_cache

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput

LANGUAGES = ("en", "es")
SETTINGS = ("en", "es", "en+es")

_WORDS: dict[str, tuple[str, str]] = {
    # kinds
    "battery": ("BATTERY", "BATERÍA"),
    "truck": ("TRUCK", "CARRETILLA"),
    "charger": ("CHARGER", "CARGADOR"),
    "lifting gear": ("LIFTING GEAR", "EQUIPO DE IZADO"),
    "room equipment": ("ROOM EQUIPMENT", "EQUIPO DE SALA"),
    # figures
    "voltage": ("voltage", "tensión"),
    "weight": ("service weight", "peso"),
    "capacity": ("capacity", "capacidad"),
    "chemistry": ("type", "tipo"),
    "connector": ("connector", "conector"),
    "battery voltage": ("battery voltage", "tensión de batería"),
    "battery weight": ("battery weight, min – max", "peso de batería"),
    "output voltage": ("output voltage", "tensión de salida"),
    "battery capacity": ("battery capacity, min – max", "capacidad"),
    "rated load": ("rated load", "carga nominal"),
    "own weight": ("own weight", "peso propio"),
    "gear": ("kind of gear", "clase de equipo"),
    "equipment": ("equipment", "equipo"),
    "check": ("what is checked", "qué se revisa"),
    "check every": ("check every", "revisar cada"),
    "days": ("days", "días"),
    # chemistries and other choices
    "vented": ("vented lead-acid", "plomo-ácido abierta"),
    "gel": ("gel, sealed", "gel, sellada"),
    "agm": ("AGM, sealed", "AGM, sellada"),
    "tppl": ("pure lead, sealed", "plomo puro, sellada"),
    "lithium": ("lithium-ion", "ion de litio"),
    "beam": ("lifting beam", "balancín"),
    "hoist": ("hoist", "polipasto"),
    "eyewash": ("eyewash", "lavaojos"),
    "shower": ("emergency shower", "ducha de emergencia"),
    "spill-kit": ("spill kit", "kit de derrames"),
    "detector": ("hydrogen detector", "detector de hidrógeno"),
    "extinguisher": ("fire extinguisher", "extintor"),
    "hydrometer": ("hydrometer", "densímetro"),
    "meter": ("meter", "medidor"),
    "ventilation": ("ventilation", "ventilación"),
    "other": ("other equipment", "otro equipo"),
    # cards
    "command card": ("STATION COMMAND", "MANDO DEL PUESTO"),
    "badge": ("BADGE", "CREDENCIAL"),
    "out of service": ("OUT OF SERVICE", "FUERA DE SERVICIO"),
    "LOG": ("LOG", "ANOTAR"),
    "UNDO": ("UNDO", "DESHACER"),
    "HOLD": ("HOLD", "RETENER"),
    "NEXT": ("NEXT", "SIGUIENTE"),
    "person": ("person's code", "código de persona"),
    "role": ("role", "función"),
    "attendant": ("attendant", "encargado"),
    "technician": ("technician", "técnico"),
    "supervisor": ("supervisor", "supervisor"),
    "until": ("authorised until", "autorizado hasta"),
    "no end": ("no date recorded", "sin fecha anotada"),
    "reason": ("reason", "motivo"),
    "since": ("since", "desde"),
    "held by": ("held by", "retenido por"),
    "released by": ("released by", "lo libera"),
    "inspection": ("inspection, then supervisor", "inspección y supervisor"),
    # what is missing or unsure
    "unknown": ("not known: do not use", "no se conoce: no usar"),
    "enter stamped": ("enter stamped figure", "anotar dato grabado"),
    "enter nameplate": ("enter nameplate figure", "anotar dato de placa"),
    "not noted": ("not noted", "sin anotar"),
    "to be confirmed": ("to be confirmed", "por confirmar"),
    "with ballast": ("with approved ballast", "con lastre aprobado"),
    "rate unknown": ("rate not known", "régimen no conocido"),
    "revision": ("rev.", "rev."),
    "unloading": ("unloading no.", "descarga n.º"),
    "serial": ("serial", "serie"),
    "no serial": ("no serial given", "sin n.º de serie"),
}

_CAUTIONS: dict[str, tuple[str, str]] = {
    "acid": (
        "Acid and explosive gas. No sparks, flames or smoking; eye protection and gloves. "
        "Trained staff only. Follow the maker's instructions.",
        "Ácido y gas explosivo. Sin chispas, llamas ni tabaco; gafas y guantes. "
        "Solo personal formado. Siga las instrucciones del fabricante.",
    ),
    "sealed": (
        "Explosive gas when charging. Never open or add water. No sparks, flames or smoking. "
        "Trained staff only. Follow the maker's instructions.",
        "Gas explosivo al cargar. No abrir ni añadir agua. Sin chispas, llamas ni tabaco. "
        "Solo personal formado. Siga las instrucciones del fabricante.",
    ),
    "lithium": (
        "Only on its own charger. Never open, crush or heat; keep from flames. "
        "Trained staff only. Follow the maker's instructions.",
        "Solo con su propio cargador. No abrir, aplastar ni calentar; lejos de llamas. "
        "Solo personal formado. Siga las instrucciones del fabricante.",
    ),
    "truck": (
        "Only a battery within these limits, set down and secured. The truck's nameplate and "
        "the maker's instructions overrule this label.",
        "Solo una batería dentro de estos límites, asentada y sujeta. La placa de la carretilla "
        "y las instrucciones del fabricante prevalecen.",
    ),
    "charger": (
        "Charger off before connecting or disconnecting. Ventilate; no sparks or flames. "
        "Trained staff only. Follow the maker's instructions.",
        "Apague el cargador antes de conectar o desconectar. Ventile; sin chispas ni llamas. "
        "Solo personal formado. Siga las instrucciones del fabricante.",
    ),
    "lifting": (
        "Never above the rated load; nobody under or beside the load. Trained staff only. "
        "Follow the maker's instructions.",
        "Nunca sobre la carga nominal; nadie debajo ni junto a la carga. "
        "Solo personal formado. Siga las instrucciones del fabricante.",
    ),
    "LOG": (
        "Show to the camera: the finished change is logged.",
        "Muestre a la cámara: se anota el cambio terminado.",
    ),
    "UNDO": (
        "Show to the camera: the last entry of this station is taken back.",
        "Muestre a la cámara: se anula lo último anotado en este puesto.",
    ),
    "HOLD": (
        "Show to the camera, then the label: the battery, truck or charger is held out of use.",
        "Muestre a la cámara y luego la etiqueta: la batería, carretilla o cargador se retiene.",
    ),
    "NEXT": (
        "Show to the camera: the next step, or the next battery to take.",
        "Muestre a la cámara: el paso siguiente o la batería que toca.",
    ),
    "badge": (
        "Opens this person's shift at a station. Says who, proves nothing: keep it with you and "
        "report it when lost.",
        "Abre el turno de esta persona en un puesto. Dice quién, no prueba nada: llévela consigo "
        "y avise si se pierde.",
    ),
    "out of service": (
        "Do not use, charge, open or repair until it is released. This card shuts nothing off and "
        "is no lockout device: isolate, lock and tag by the site's procedure. Qualified people "
        "only. Follow the maker's instructions and local codes.",
        "No usar, cargar, abrir ni reparar hasta su liberación. Esta tarjeta no corta nada ni es "
        "un bloqueo: aísle, bloquee y señalice según el procedimiento de la planta. Solo personal "
        "cualificado. Siga las instrucciones del fabricante y las normas locales.",
    ),
    "room": (
        "Keep clear and ready for use. Follow the maker's instructions and the site's rules.",
        "Mantener libre y listo para usar. Siga las instrucciones del fabricante y las normas "
        "de la planta.",
    ),
}


def languages_of(setting: str) -> tuple[str, ...]:
    """The languages of a setting like "en" or "en+es"; WrongInput for any other."""
    if setting not in SETTINGS:
        raise WrongInput(
            f"“{setting}” is not a language of labels", f"Use one of: {', '.join(SETTINGS)}"
        )
    return tuple(setting.split("+"))


@lru_cache(maxsize=1024)
def word(name: str, language: str) -> str:
    """A word in the setting's language; both, parted by a stroke, where it names two."""
    found = [_WORDS[name][LANGUAGES.index(part)] for part in languages_of(language)]
    return " / ".join(dict.fromkeys(found))


def kind_word(kind: Kind, language: str) -> str:
    """BATTERY, TRUCK …"""
    return word(kind.noun, language)


def cautions(name: str, language: str) -> tuple[str, ...]:
    """The line of caution, once for each language."""
    return tuple(_CAUTIONS[name][LANGUAGES.index(part)] for part in languages_of(language))
