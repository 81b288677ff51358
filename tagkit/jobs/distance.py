"""From how far a label is read: what people type, worked out and said in their units."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.labels.distance import (
    MOST_MOTION,
    Camera,
    Motion,
    Plan,
    module_of_label,
    modules_across,
    plan_for_distance,
    plan_for_module,
)
from tagkit.labels.symbol_room import module_for
from tagkit.labels.template import Template, load_template
from tagkit.labels.template_model import MM_PER_INCH
from tagkit.symbol.tables import size_of
from tagkit.units import Dimension, Quantity, parse_quantity

_SPEEDS = {"m/s": 1000.0, "km/h": 1000 / 3.6, "mm/s": 1.0, "ft/s": 304.8, "mph": 447.04}
_BARE = 2  # the version that holds a bare number at level H


@dataclass(frozen=True)
class Asked:
    """What was typed; lengths like “1.0”, “0.8 m”, “2 ft” (mm where no unit stands)."""

    module: str | None = None
    symbol: str | None = None
    label: str | None = None
    template: str | Path | None = None
    distance: str | None = None
    camera: int | None = None
    camera_height: int | None = None
    angle: float | None = None
    pixels: float | None = None
    version: int | None = None
    dpi: int | None = None
    speed: str | None = None
    exposure: str | None = None


@dataclass(frozen=True)
class Answer:
    """The plan and how it was come by."""

    plan: Plan
    dpi: int | None
    template: str | None
    side: float | None  # mm of the symbol or its room that the module was worked out from
    modules: int  # that go along that side; 1: the module itself was given, 0: solved for

    def to_json(self, us: bool) -> dict[str, Any]:
        """As the command prints it."""
        plan, motion = self.plan, self.plan.motion
        found: dict[str, Any] = {
            "template": self.template,
            "camera": {"pixels": plan.camera.pixels, "angle": plan.camera.angle,
                       "shorter_side": plan.camera.shorter_side},
            "pixels_per_module_needed": plan.needed,
            "version": plan.version,
            "module": _shown(plan.module, us, 3).to_json(),
            "symbol": _shown(plan.symbol, us, 1).to_json(),
            "label": _shown(plan.frame, us, 1).to_json(),
            "nearest": _shown(plan.nearest, us).to_json(),
            "farthest": _shown(plan.farthest, us).to_json(),
            "distance": None if plan.distance is None else _shown(plan.distance, us).to_json(),
            "pixels_per_module": None if plan.pixels is None else round(plan.pixels, 3),
            "readable": plan.readable,
            "motion": None,
            "derivation": self.derivation(us),
        }  # fmt: skip
        if motion is not None:
            found["motion"] = {
                "modules": round(motion.modules(plan.module), 3),
                "modules_allowed": MOST_MOTION,
                "longest_exposure": {
                    "value": round(motion.longest_exposure(plan.module) * 1000, 3), "unit": "ms",
                },
            }  # fmt: skip
        return found

    def derivation(self, us: bool) -> list[str]:
        """Each step with its figures."""
        plan, camera = self.plan, self.plan.camera
        focal = camera.reading(1.0).focal_length
        across = modules_across(plan.version)
        module = _shown(plan.module, us, 3)
        steps = [
            f"f = {camera.pixels} px / (2 tan({camera.angle:g}° / 2)) = {focal:.1f} px",
            f"module: {self._module(us)}{self._in_dots()}",
            f"symbol of version {plan.version}: {size_of(plan.version)} modules × {module} = "
            f"{_shown(plan.symbol, us, 1)}; with quiet zone and frame {across} modules = "
            f"{_shown(plan.frame, us, 1)}",
            f"farthest = f × module / {plan.needed:g} px = {_shown(plan.farthest, us)}",
            f"nearest = f × {across} × module / {camera.shorter_side} px = "
            f"{_shown(plan.nearest, us)} (the whole frame in the picture; the lens must focus there)",
        ]
        if plan.distance is not None:
            steps.append(
                f"pixels a module = f × module / {_shown(plan.distance, us)} = {plan.pixels:.2f} "
                f"({plan.needed:g} needed)"
            )
        if plan.motion is not None:
            motion = plan.motion
            blur = focal * motion.way / plan.distance if plan.distance else None
            steps.append(
                f"motion = speed × exposure = {_shown(motion.way, us, 2)} = "
                f"{motion.modules(plan.module):.2f} modules (at most {MOST_MOTION:g})"
                + (f", {blur:.1f} px in the picture" if blur is not None else "")
            )
        return steps

    def _module(self, us: bool) -> str:
        module = _shown(self.plan.module, us, 3)
        if self.side is None:
            return f"{self.plan.needed:g} px × distance / f, or more: {module}"
        if self.modules == 1:
            return f"{module} as given"
        return f"{_shown(self.side, us, 1)} / {self.modules} modules = {module}"

    def _in_dots(self) -> str:
        if self.dpi is None:
            return ""
        dots = self.plan.module * self.dpi / MM_PER_INCH
        return f", {dots:.4g} dots of a {self.dpi} dpi printer"

    def remedies(self, us: bool) -> list[str]:
        """What would do, where it can't be read; empty where it can."""
        plan = self.plan
        found = []
        if plan.distance is not None and plan.distance > plan.farthest + 1e-6:
            reading = plan.camera.reading(plan.distance, plan.needed)
            enough = reading.smallest_module()
            if self.dpi is not None:
                enough = plan_for_distance(
                    plan.distance, plan.camera, plan.version, plan.needed, dpi=self.dpi
                ).module
            found.append(
                f"make the module {_shown(enough, us, 3)} (frame "
                f"{_shown(enough * modules_across(plan.version), us, 1)}), read it from "
                f"{_shown(plan.farthest, us)}, or take a camera of "
                f"{reading.camera_needed(plan.module)} pixels"
            )
        if plan.distance is not None and plan.distance < plan.nearest - 1e-6:
            found.append(f"go back to {_shown(plan.nearest, us)}, so that the frame is in view")
        if plan.motion is not None and not plan.still_enough:
            found.append(
                f"expose for at most {plan.motion.longest_exposure(plan.module) * 1000:.2g} ms "
                f"(more light), hold still, or make the module "
                f"{_shown(plan.motion.smallest_module(), us, 2)}"
            )
        return found


def plan_distance(asked: Asked) -> Answer:
    """Solve for what was not given. Raises WrongInput naming the option."""
    template = load_template(asked.template) if asked.template is not None else None
    camera = _camera(asked, template)
    needed = asked.pixels or (template.reading.pixels_per_module if template else 2.0)
    version = asked.version or (template.symbol.version if template else None) or _BARE
    _within(needed, 1, 20, "--pixels")
    _within(version, 1, 40, "--version")
    dpi = asked.dpi or (template.dpi if template else None)
    if dpi is not None:
        _within(dpi, 100, 2400, "--dpi")
    motion = _motion(asked)
    distance = _length(asked.distance, "--distance")
    if distance is None and template is not None:
        distance = template.reading.distance
    name = template.name if template else None
    side, modules = _side(asked, template, version)
    if side is None:
        if distance is None:
            raise WrongInput(
                "there is nothing to work out",
                "Give --module, --symbol, --label or --template, or a --distance to solve for them",
            )
        plan = plan_for_distance(distance, camera, version, needed, motion, dpi)
        return Answer(plan, dpi, name, None, 0)
    if template is not None:
        module = module_for(template, version)
    elif asked.label:
        module = module_of_label(side, version, dpi)
    else:
        module = side / modules
    if module <= 0:
        raise WrongInput("not one printer dot a module goes into that", "Make it larger", "--label")
    plan = plan_for_module(module, camera, version, needed, distance, motion)
    return Answer(plan, dpi, name, side, modules)


def _side(asked: Asked, template: Template | None, version: int) -> tuple[float | None, int]:
    """What the module is worked out from: a length in mm and how many modules it holds."""
    named = [word for word in ("module", "symbol", "label", "template") if getattr(asked, word)]
    if len(named) > 1:
        raise WrongInput(
            f"--{named[0]} and --{named[1]} say the same thing twice", "Give one of them"
        )
    if template is not None:
        return template.symbol.size, modules_across(version)
    if asked.module:
        return _length(asked.module, "--module"), 1
    if asked.symbol:
        return _length(asked.symbol, "--symbol"), size_of(version)
    return _length(asked.label, "--label"), modules_across(version)


def _camera(asked: Asked, template: Template | None) -> Camera:
    reading = template.reading if template else None
    pixels = asked.camera or (reading.camera_pixels if reading else 1920)
    angle = asked.angle or (reading.camera_angle if reading else 60.0)
    _within(pixels, 160, 20_000, "--camera")
    _within(angle, 5, 150, "--angle")
    height = asked.camera_height or 0
    if height:
        _within(height, 120, 20_000, "--camera-height")
    return Camera(pixels, angle, height)


def _motion(asked: Asked) -> Motion | None:
    if asked.speed is None and asked.exposure is None:
        return None
    if asked.speed is None or asked.exposure is None:
        raise WrongInput("motion needs both", "Give --speed and --exposure", "--speed")
    return Motion(_speed(asked.speed), _exposure(asked.exposure))


def _speed(text: str) -> float:
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*([a-z/]*)\s*", text.lower())
    factor = _SPEEDS.get(match[2] or "m/s") if match else None
    if match is None or factor is None or not float(match[1].replace(",", ".")):
        units = ", ".join(list(_SPEEDS)[1:])
        raise WrongInput(
            f"“{text}” is not a speed", f"Write it like 0.5 m/s (also {units})", "--speed"
        )
    return float(match[1].replace(",", ".")) * factor


def _exposure(text: str) -> float:
    """In seconds, from milliseconds (“10”, “10 ms”) or a fraction of a second (“1/100”)."""
    if match := re.fullmatch(r"\s*1\s*/\s*(\d{1,6})\s*s?\s*", text):
        seconds = 1 / int(match[1]) if int(match[1]) else 0.0
    elif match := re.fullmatch(r"\s*(\d{1,6}(?:[.,]\d{1,6})?)\s*(ms)?\s*", text):
        seconds = float(match[1].replace(",", ".")) / 1000
    else:
        seconds = 0.0
    if not seconds:
        raise WrongInput(
            f"“{text}” is not an exposure", "Write milliseconds, or 1/100", "--exposure"
        )
    return seconds


def _length(text: str | None, option: str) -> float | None:
    if text is None:
        return None
    try:
        value = parse_quantity(text, Dimension.LENGTH, "mm", "point").base()
    except WrongInput as error:
        error.where = error.where or option
        raise
    if not 0.01 <= value <= 100_000:
        raise WrongInput(f"“{text}” is not possible", "Give 0.01 mm to 100 m", option)
    return value


def _within(value: float, low: float, high: float, option: str) -> None:
    if not low <= value <= high:
        raise WrongInput(f"{value:g} is not possible", f"From {low:g} to {high:g}", option)


def _shown(length: float, us: bool, digits: int = 0) -> Quantity:
    """In mm, or inches with a digit more."""
    if us:
        return Quantity(Decimal(f"{length / MM_PER_INCH:.{max(1, digits + 1)}f}"), "in")
    return Quantity(Decimal(f"{length:.{digits}f}"), "mm")
