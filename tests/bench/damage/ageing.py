"""What a battery room does to a label: each model says in which order the label is lost.

A model is drawn once (where the acid fell, which way the strap rubbed) and gives its wear at
any level from 0 to 1, so that one seed grows from a speck to ruin and can be steered. Wear is
linear in the print: ``kept * print + smear * blurred print + added``; ``kept`` is therefore the
contrast that is left, which is what severity is counted in. Models work on the label at
``GRAIN`` pixels a module; lengths below are in modules (about 1 mm on our stock) unless said.

The sizes come from what the causes look like: acid falls in splashes of a few millimetres to
some centimetres, runs downwards and leaves brown rims; straps and gloves rub in one direction;
film peels from its corners, tears in strips; resin ink goes grey in the sun from one side.
"""

from __future__ import annotations

from .acid import acid, bleach, char, either
from .covering import dirt, drops, fading, frost, glare
from .film import cable, folds, peeled, torn
from .rubbing import abrasion, scratches
from .wear import GRAIN, Bend, Course, Ground, Model, Wear

__all__ = ["GRAIN", "MODELS", "Bend", "Course", "Ground", "Model", "Wear"]

MODELS: dict[str, Model] = {
    "bleached": acid(bleach),
    "darkened": acid(char),
    "mixed": acid(either),
    "scratches": scratches,
    "abrasion": abrasion,
    "peeled": peeled,
    "torn": torn,
    "dirt": dirt,
    "drops": drops,
    "frost": frost,
    "glare": glare,
    "fading": fading,
    "folds": folds,
    "cable": cable,
}
"""Every model by name; the first three are the acid blotches."""
