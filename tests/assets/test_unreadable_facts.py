"""A nameplate of the record that can't be read is never taken as one that states less."""

from __future__ import annotations

from typing import Any

import pytest
from tagkit.assets.kinds import plate_of
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput


@pytest.mark.parametrize(
    "fact",
    [
        {"vblue": "1100", "unit": "kg", "source": "stamped"},
        {"value": "11O0", "unit": "kg", "source": "stamped"},
        {"value": "1100", "unit": "kf", "source": "stamped"},
        {"value": "1100", "unit": "kg", "source": "rumour"},
        {"value": "1100", "unit": "kg"},
        "1100 kg",
        5,
    ],
)
def test_an_unreadable_fact_is_named(fact: Any) -> None:
    with pytest.raises(WrongInput, match="service weight"):
        plate_of(Kind.BATTERY, {"weight": fact})
