"""The cross-check of a rested cell: its voltage is about its gravity + 0.84 V."""

from __future__ import annotations

from tagkit.rules.flags import Flag
from tagkit.settings import ElectrolyteSettings


def open_circuit_volts(gravity: float, settings: ElectrolyteSettings) -> float:
    """Voltage (V) of a rested cell with this gravity at the reference temperature."""
    return gravity + settings.open_circuit


def open_circuit_flag(
    volts: float | None,
    gravity: float | None,
    settings: ElectrolyteSettings,
    cell: int | None = None,
) -> Flag | None:
    """Whether voltage and gravity of a rested cell contradict each other.

    None when they agree or one is not known. Which of the two is wrong, or whether the cell is
    sick (a short lowers the voltage first), the sentence leaves to a second reading.
    """
    if volts is None or gravity is None:
        return None
    expected = open_circuit_volts(gravity, settings)
    if round(abs(volts - expected), 6) <= settings.open_circuit_error:
        return None
    name = "it" if cell is None else f"cell {cell}"
    return Flag(
        "voltage and gravity disagree",
        f"{name} shows {volts:.2f} V where its gravity {gravity:.3f} goes with "
        f"{expected:.2f} V: read both again; if they stand, the cell is sick",
        "act",
        cell,
    )
