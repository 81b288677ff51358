"""How a state looks: the role of its colour and shape."""

from __future__ import annotations

from collections.abc import Mapping

ROLES: Mapping[str, str] = {
    "ready": "go",
    "in service": "use",
    "in use": "use",
    "on charge": "charge",
    "not ready": "wait",
    "released for one use": "wait",
    "held": "stop",
    "not married yet": "ask",
    "retired": "off",
}

VERDICT_ROLES: Mapping[str, str] = {"fit": "go", "no_fit": "stop", "not_confirmed": "ask"}

LABEL_ROLES: Mapping[str, str] = {"good": "go", "reprint soon": "wait", "reprint now": "ask"}

SEVERITY_ROLES: Mapping[str, str] = {"stop": "stop", "act": "ask", "watch": "wait", "note": "off"}


def role_of(state: str) -> str:
    """The role of a state's mark (see app.css)."""
    return ROLES.get(state, "off")
