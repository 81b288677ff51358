"""Battery chemistries and the words people use for them."""

from __future__ import annotations

CHEMISTRIES = {
    "vented": "vented lead-acid",
    "gel": "gel",
    "agm": "AGM",
    "tppl": "thin-plate pure lead",
    "lithium": "lithium-ion",
}

CHEMISTRY_WORDS = {
    "lead-acid": "vented",
    "lead acid": "vented",
    "vented": "vented",
    "flooded": "vented",
    "wet": "vented",
    "wet lead-acid": "vented",
    "flooded lead-acid": "vented",
    "Blei-Säure": "vented",
    "Bleisäure": "vented",
    "nass": "vented",
    "Nassbatterie": "vented",
    "húmeda": "vented",
    "plomo-ácido": "vented",
    "plomo acido": "vented",
    "plomo-ácido abierta": "vented",
    "plomo-ácido abierto": "vented",
    "plomo acido abierta": "vented",
    "plomo abierto": "vented",
    "plomo abierta": "vented",
    "PzS": "vented",
    "PzB": "vented",
    "Pb": "vented",
    "gel lead-acid": "gel",
    "PzV": "gel",
    "Blei-Gel": "gel",
    "absorbed glass mat": "agm",
    "absorbent glass mat": "agm",
    "TPPL": "tppl",
    "pure lead": "tppl",
    "li-ion": "lithium",
    "lithium": "lithium",
    "Li": "lithium",
    "LFP": "lithium",
    "LiFePO4": "lithium",
    "NMC": "lithium",
    "Lithium-Ionen": "lithium",
    "Lithium-Ion": "lithium",
    "ion-litio": "lithium",
    "iones de litio": "lithium",
    "litio": "lithium",
}

# Which chemistries are topped up with water, hydrometer-tested and equalized.
WATERED = frozenset({"vented"})
