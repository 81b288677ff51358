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
    "PzS": "vented",
    "Pb": "vented",
    "gel lead-acid": "gel",
    "PzV": "gel",
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
}

# Which chemistries are topped up with water, hydrometer-tested and equalized.
WATERED = frozenset({"vented"})
