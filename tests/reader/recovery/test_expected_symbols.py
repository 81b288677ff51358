"""Symbols made many at a time are the encoder's own."""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.reader.recovery.expected import symbols
from tagkit.symbol.encode import encode
from worn_labels import LINK, tags


@pytest.mark.parametrize("before", ["", LINK, "HTTPS://L.EXAMPLE/A/"])
@pytest.mark.parametrize("mask", [0, 5])
def test_many_symbols_at_once_equal_each_one_alone(before: str, mask: int) -> None:
    payloads = [f"{before}{tag}" for tag in tags(40)]
    version = encode(payloads[0], "H").version
    made = symbols(payloads, version, "H", mask)
    for payload, flat in zip(payloads, made, strict=True):
        expected = np.array(encode(payload, "H", version, mask).matrix).ravel()
        assert np.array_equal(flat, expected)


def test_payloads_outside_alphanumeric_mode_are_encoded_too() -> None:
    made = symbols(["pump a", "pump b"], 2, "M", 3)
    assert np.array_equal(made[1], np.array(encode("pump b", "M", 2, 3).matrix).ravel())
