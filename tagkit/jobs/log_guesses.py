"""Headings of chargers' logs that leave no doubt what their column holds."""

from __future__ import annotations

GUESSES = {
    "battery": ("battery", "battery number", "battery id", "battery no", "tag", "serial",
                "batería", "batterie"),
    "charger": ("charger", "charger number", "charger id", "charger no", "bay", "cargador"),
    "started": ("start", "started", "start time", "begin", "charge start", "inicio"),
    "ended": ("end", "ended", "end time", "stop", "stop time", "charge end", "fin"),
    "ah": ("ah", "ah returned", "ah total", "charge ah", "amp hours"),
    "start_temperature": ("start temp", "start temperature", "temperature at start"),
    "highest_temperature": ("max temp", "highest temperature", "max temperature"),
    "end_temperature": ("end temp", "end temperature"),
    "kind": ("kind", "type", "charge type", "profile"),
}  # fmt: skip

CURRENT_GUESSES = {
    "time": ("time", "date", "datetime", "date time", "date/time", "timestamp", "elapsed",
             "elapsed time", "time since start", "hours", "minutes", "seconds", "hour", "time h",
             "time (h)", "time [h]", "time (min)", "time [min]", "time (s)", "time [s]",
             "hora", "tiempo", "horas", "minutos"),
    "current": ("current", "amps", "amperes", "a", "current a", "current (a)", "current [a]",
                "charge current", "dc current", "output current", "i (a)", "corriente",
                "corriente (a)", "amperios"),
    "battery": GUESSES["battery"],
    "charger": GUESSES["charger"],
    "temperature": ("temp", "temperature", "battery temp", "battery temperature", "temperatura",
                    "temp (°c)", "temp (°f)", "temperature (°c)", "temperature (°f)"),
}  # fmt: skip
