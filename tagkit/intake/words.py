"""Words of column headers, in English, German and Spanish, brought to one set of terms.

A header is taken as the set of its terms: "Min. battery weight (lb)", "Battery weight, minimum"
and "Mindestgewicht der Batterie" all come to {battery, weight, min}. Order, case, accents,
punctuation and little words don't matter.
"""

from __future__ import annotations

import re
import unicodedata


def vocabulary(words: str) -> frozenset[str]:
    """The words of a list written with spaces."""
    return frozenset(words.split())


# Words that change nothing about what a column holds.
_LITTLE = vocabulary(
    "a an and at by de del der des die el en for fur in is la las los nominal nom nenn "
    "of on per por pro specific the und von y zu zum zur"
)

# Term -> the words that mean it. Written without accents, in small letters.
_TERMS: dict[str, str] = {
    "number": "number no nr num numero nummer n id",
    "serial": "serial serien",
    "maker": "maker makers manufacturer manufacturers mfr mfg hersteller fabricante supplier",
    "fleet": "fleet flotte flota flotten",
    "own": "own eigene internal interne interno inventory inventar inventario",
    "asset": "asset anlage activo",
    "kind": "kind clase category kategorie categoria",
    "type": "type typ tipo art",
    "designation": "designation bezeichnung typenbezeichnung designacion denominacion",
    "battery": "battery batteries batterie batterien bateria baterias batt akku",
    "truck": "truck trucks forklift forklifts stapler gabelstapler fahrzeug flurforderzeug "
    "carretilla montacargas vehicle",
    "charger": "charger chargers ladegerat ladegeraet cargador",
    "voltage": "voltage volt volts v vdc spannung voltaje tension voltios",
    "cells": "cells cell zellen celdas vasos elementos",
    "count": "count anzahl cantidad qty quantity menge stuckzahl stueckzahl",
    "pieces": "pieces piece pcs pc ea units stuck stueck stk piezas pieza uds unidades",
    "capacity": "capacity cap kapazitat kapazitaet capacidad ah",
    "rate": "rate rating entladezeit nennzeit regimen",
    "hours": "hours hour hrs hr h stunden std horas",
    "weight": "weight weights wt gewicht peso mass masse masa",
    "service": "service operating servicio filled gefullt gefuellt llena inservice",
    "with": "with incl including inkl inklusive mit con incluido",
    "acid": "acid saure saeure acido electrolyte elektrolyt electrolito",
    "min": "min minimum minimo minima smallest lowest least kleinste kleinstes mindest",
    "max": "max maximum maximo maxima largest highest greatest grosste hochst",
    "length": "length len l lange laenge largo longitud",
    "width": "width w breite b ancho anchura",
    "height": "height hohe hoehe alto altura",
    "dimensions": "dimensions dimension dims abmessungen abmessung maße medidas dimensiones size",
    "chemistry": "chemistry chemie quimica technology technologie tecnologia",
    "connector": "connector connectors plug stecker conector enchufe",
    "cable": "cable cables kabel",
    "side": "side seite lado",
    "scale": "scale waage bascula weighed gewogen pesado",
    "ballast": "ballast lastre zusatzgewicht",
    "date": "date datum fecha since seit desde",
    "made": "made manufactured manufacture production built herstellung produktion fabricado "
    "fabricacion year jahr ano",
    "compartment": "compartment trog batterieraum batteriefach compartimento compartimiento",
    "model": "model modell modelo",
    "group": "group gruppe grupo",
    "bay": "bay platz puesto",
    "output": "output ausgang ausgangs salida",
    "amp": "amp ampere",
    "current": "current strom corriente amps",
    "start": "start starting anfangs inicial",
    "location": "location standort ort ubicacion lugar",
    "equipment": "equipment ausrustung ausruestung equipo",
    "gravity": "gravity sg dichte sauredichte saeuredichte density densidad",
    "load": "load last carga",
    "allowed": "allowed allows permitted permits approved zulassig zulaessig zugelassen erlaubt "
    "permitido permitida permite admisible",
    "equalizing": "equalizing equalising equalize equalise equalization equalisation "
    "ausgleichsladung ausgleichsladen igualacion igualar ecualizacion ecualizar",
    "problem": "problem",
}

# Compound words that hold more than one term.
_COMPOUNDS: dict[str, str] = {
    "inbetriebnahme": "service date", "zellanzahl": "cells", "steckertyp": "connector",
    "serialno": "serial number", "serialnumber": "serial number", "s/n": "serial number",
    "seriennummer": "serial number", "seriennr": "serial number", "fabriknummer": "serial number",
    "fabriknr": "serial number", "sn": "serial number", "serie": "serial number",
    "batterienummer": "battery number", "batterienr": "battery number",
    "staplernummer": "truck number", "staplernr": "truck number",
    "fahrzeugnummer": "truck number", "fahrzeugnr": "truck number",
    "flottennummer": "fleet number", "flottennr": "fleet number",
    "inventarnummer": "fleet number", "inventarnr": "fleet number",
    "batteriegewicht": "battery weight", "akkugewicht": "battery weight",
    "mindestgewicht": "min weight", "minimalgewicht": "min weight",
    "hochstgewicht": "max weight", "hoechstgewicht": "max weight", "maximalgewicht": "max weight",
    "dienstgewicht": "service weight", "betriebsgewicht": "service weight",
    "einsatzgewicht": "service weight", "nenngewicht": "weight",
    "batteriespannung": "battery voltage", "ausgangsspannung": "output voltage",
    "ladespannung": "output voltage", "nennspannung": "voltage", "nennkapazitat": "capacity",
    "nennkapazitaet": "capacity", "batteriekapazitat": "battery capacity",
    "batteriekapazitaet": "battery capacity", "zellenzahl": "cells", "zellzahl": "cells",
    "zellenanzahl": "cells", "kabellange": "cable length", "kabellaenge": "cable length",
    "kabelseite": "cable side", "batterietyp": "battery type", "geratetyp": "kind",
    "geraetetyp": "kind", "anlagenart": "kind", "assettype": "kind", "herstelldatum": "made date",
    "herstellungsdatum": "made date", "baujahr": "made", "waagengewicht": "scale weight",
    "batteriestecker": "battery connector", "troglange": "compartment length",
    "trogbreite": "compartment width", "troghohe": "compartment height",
    "ladeplatz": "bay", "ladestrom": "start current", "kennlinie": "characteristic",
    "traglast": "rated load", "tragfahigkeit": "rated load", "lxwxh": "dimensions",
}  # fmt: skip

_TERM_OF: dict[str, tuple[str, ...]] = {
    **{word: (term,) for term, words in _TERMS.items() for word in words.split()},
    **{word: tuple(terms.split()) for word, terms in _COMPOUNDS.items()},
}


# Which dimension comes first in "830 x 630 x 627": "L x W x H", "L×B×H".
ORDER = re.compile(r"\b([lwbah])\s?[x*/]\s?([lwbah])\s?[x*/]\s?([lwbah])\b")


def plain(text: str) -> str:
    """Small letters, no accents, single spaces: "Länge  [mm]" -> "lange [mm]"."""
    folded = unicodedata.normalize("NFKD", text.lower().replace("×", "x").replace("º", ""))
    return " ".join("".join(c for c in folded if not unicodedata.combining(c)).split())


def terms(header: str) -> frozenset[str]:
    """The terms of a header, or of a part of it without its unit."""
    text = re.sub(r"\bs\s?/\s?n\b|\bs\.\s?n\.", "serialno", plain(header))
    text = ORDER.sub(" lxwxh ", text).replace("#", " number ")
    words = [word.strip("'’") for word in re.split(r"[\s_.,;:/()\[\]{}|<>*+&º°-]+", text)]
    words = [word.removesuffix("'s").removesuffix("’s") for word in words if word]
    found: set[str] = set()
    for word in words:
        if word in _LITTLE and word not in ("l", "w", "h", "b"):
            continue
        found.update(_TERM_OF.get(word, (word,)))
    return frozenset(found)
