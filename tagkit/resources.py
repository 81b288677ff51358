"""Where the label templates, the demo site and the fonts lie on this machine."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _shipped(name: str) -> Path:
    """The folder ``name``: inside an installed package, or beside it in a source checkout."""
    inside = _PACKAGE / "shipped" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def label_templates() -> Path:
    """The folder with one TOML file per label template."""
    return _shipped("label_templates")


def demo_site() -> Path:
    """The folder with the roster, sheets and pictures of the invented depot."""
    return _shipped("demo_site")


def fonts() -> Path:
    """The folder with the fonts that labels and reports embed."""
    return _PACKAGE / "labels" / "fonts"
