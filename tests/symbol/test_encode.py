"""The matrix is the qrcode library's, module for module."""

from __future__ import annotations

import pytest
import qrcode
import qrcode.constants
from hypothesis import given, settings
from hypothesis import strategies as st
from tagkit.assets.tag import Kind, Tag
from tagkit.errors import WrongInput
from tagkit.symbol.encode import encode
from tagkit.symbol.tables import LEVELS

LIBRARY = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


def library_matrix(payload: str, level: str, version: int, mask: int | None):
    code = qrcode.QRCode(version=version, error_correction=LIBRARY[level], mask_pattern=mask)
    code.add_data(payload, optimize=0)
    code.make(fit=False)
    return tuple(tuple(bool(module) for module in row) for row in code.modules)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("version", range(1, 41))
def test_every_version_and_level_gives_the_matrix_of_the_library(level, version):
    payload = "B-QM-0" if version == 1 else "B-QM-00417-D"
    mask = (version + LEVELS.index(level)) % 8
    assert encode(payload, level, version, mask).matrix == library_matrix(
        payload, level, version, mask
    )


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("version", [1, 2, 4, 7, 14])
def test_every_mask_gives_the_matrix_of_the_library(level, version):
    payload = "B-QM-0" if version == 1 else "B-QM-00417-D"
    for mask in range(8):
        symbol = encode(payload, level, version, mask)
        assert symbol.matrix == library_matrix(payload, level, version, mask)
        assert len(symbol.matrix) == symbol.size == 17 + 4 * version


@settings(max_examples=60, deadline=None)
@given(
    serial=st.integers(1, 9_999_999),
    kind=st.sampled_from(Kind),
    level=st.sampled_from(LEVELS),
    link=st.booleans(),
)
def test_the_mask_chosen_is_the_one_the_library_chooses(serial, kind, level, link):
    payload = f"{'HTTPS://LABELS.EXAMPLE/A/' if link else ''}{Tag(kind, 'QM', serial)}"
    symbol = encode(payload, level)
    assert symbol.matrix == library_matrix(payload, level, symbol.version, None)


@given(payload=st.text(min_size=1, max_size=60), level=st.sampled_from(LEVELS))
@settings(max_examples=40, deadline=None)
def test_the_smallest_version_is_the_one_the_library_finds(payload, level):
    code = qrcode.QRCode(error_correction=LIBRARY[level], mask_pattern=0)
    data = payload.encode()
    alphanumeric = qrcode.util.RE_ALPHA_NUM.match(data)
    mode = qrcode.util.MODE_ALPHA_NUM if alphanumeric else qrcode.util.MODE_8BIT_BYTE
    code.add_data(qrcode.util.QRData(data, mode=mode))
    assert encode(payload, level, mask=0).version == code.best_fit()


@settings(max_examples=60, deadline=None)
@given(payload=st.text("AB01 -", min_size=1, max_size=60) | st.text(min_size=1, max_size=30))
def test_any_length_of_data_ends_and_is_padded_as_the_library_does(payload):
    symbol = encode(payload, "Q", mask=0)
    code = qrcode.QRCode(symbol.version, LIBRARY["Q"], mask_pattern=0)
    mode = qrcode.util.MODE_8BIT_BYTE
    if qrcode.util.RE_ALPHA_NUM.match(payload.encode()):
        mode = qrcode.util.MODE_ALPHA_NUM
    code.add_data(qrcode.util.QRData(payload.encode(), mode=mode))
    code.make(fit=False)
    assert symbol.matrix == tuple(tuple(map(bool, row)) for row in code.modules)


def test_a_bare_number_needs_a_small_symbol_and_a_link_a_larger_one():
    assert encode("B-QM-00417-D").version == 2
    assert encode("HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D").version == 4


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"level": "X"}, "L, M, Q or H"),
        ({"mask": 8}, "0 to 7"),
        ({"version": 41}, "1 to 40"),
        ({"version": 1}, "version 2 or more"),
    ],
)
def test_what_the_standard_does_not_have_is_refused(arguments, says):
    with pytest.raises(WrongInput, match=says):
        encode("B-QM-00417-D", **arguments)


def test_a_payload_too_long_for_any_symbol_is_refused():
    with pytest.raises(WrongInput, match="Shorten the payload"):
        encode("A" * 5000)
