"""Whatever a file says, it is read or refused with a reason: nothing falls over.

Sheets, templates, settings, pictures and payloads come from outside. Each is tried with noise and,
because noise seldom gets past the first check, with right ones that were spoilt in places.
"""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from tagkit.assets.payload import tag_in
from tagkit.errors import TagkitError
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import sheet_from_bytes
from tagkit.labels.template import parse_template
from tagkit.reader.pictures import pictures_in_bytes
from tagkit.settings import Settings
from tagkit.site_toml import parse_settings, settings_text

HEADERS = ["Maker's serial", "Voltage (V)", "Weight (kg)", "Weight lb", "Capacity", "Type",
           "Fleet no", "L x W x H", "Battery weight min", "Connector", "Peso", "Gewicht"]  # fmt: skip
words = st.sampled_from(HEADERS) | st.text(max_size=12)
figures = (
    st.sampled_from(["48", "1.142,5", "1,142.5 kg", "2 450 lb", "18-125-17", "24 V 5 PzS 775", "=1+1",
                     "#REF!", "1e999", "-0", "NaN", "٤٨", "48 V / 80 V", "830x630x627", "½", "1/0"])
    | st.text(max_size=10)
    | st.integers().map(str)
    | st.floats().map(str)
)  # fmt: skip


@settings(max_examples=120)
@given(
    st.lists(words, min_size=1, max_size=6),
    st.lists(st.lists(figures, max_size=7), max_size=6),
    st.sampled_from(",;\t|"),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
def test_a_sheet_of_nonsense_is_read_or_refused(
    header: list[str], rows: list[list[str]], separator: str, encoding: str
) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows([header, *rows])
    data = text.getvalue().encode(encoding, "replace")
    try:
        delivery = read_delivery(sheet_from_bytes(data, "delivery.csv"))
    except TagkitError as error:
        assert error.problem
        return
    for rejected in delivery.rejected:
        assert rejected.problem and rejected.remedy


def spoilt(data: bytes, seed: int, places: int) -> bytes:
    """The same with some bytes changed, doubled or left out."""
    chance, spoiled = random.Random(seed), bytearray(data)
    for _ in range(places):
        where = chance.randrange(len(spoiled))
        match chance.randrange(4):
            case 0:
                spoiled[where] ^= 1 << chance.randrange(8)
            case 1:
                spoiled[where] = chance.randrange(256)
            case 2:
                spoiled[where : where + chance.randrange(1, 40)] = b""
            case _:
                spoiled[where:where] = spoiled[where : where + chance.randrange(1, 40)]
        if not spoiled:
            return b""
    return bytes(spoiled)


@pytest.fixture(scope="module")
def workbook() -> bytes:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(HEADERS[:5])
    for number in range(4):
        sheet.append([f"S{number}", 48, 1142.5, None, "775 Ah"])
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


@settings(max_examples=120)
@given(seed=st.integers(0, 1 << 30), places=st.integers(1, 12))
def test_a_spoilt_workbook_is_read_or_refused(workbook: bytes, seed: int, places: int) -> None:
    try:
        read_delivery(sheet_from_bytes(spoilt(workbook, seed, places), "delivery.xlsx"))
    except TagkitError as error:
        assert error.problem


@settings(max_examples=100)
@given(st.binary(max_size=300), st.sampled_from(["a.csv", "a.xlsx", "a.txt", "a"]))
def test_bytes_that_are_no_sheet_are_refused(data: bytes, name: str) -> None:
    try:
        read_delivery(sheet_from_bytes(data, name))
    except TagkitError as error:
        assert error.problem


@pytest.mark.parametrize("name", ["battery-side", "sheet-a4", "truck-plate"])
@settings(max_examples=60)
@given(seed=st.integers(0, 1 << 30), places=st.integers(1, 5))
def test_a_spoilt_template_is_refused_with_a_reason(
    project: Path, name: str, seed: int, places: int
) -> None:
    text = (project / "label_templates" / f"{name}.toml").read_bytes()
    try:
        parse_template(spoilt(text, seed, places).decode("utf-8", "replace"), name, "it")
    except TagkitError as error:
        assert error.problem


@settings(max_examples=100)
@given(seed=st.integers(0, 1 << 30), places=st.integers(1, 5))
def test_spoilt_settings_are_refused_with_a_reason(seed: int, places: int) -> None:
    text = settings_text(Settings()).encode("utf-8")
    try:
        parse_settings(spoilt(text, seed, places).decode("utf-8", "replace"))
    except TagkitError as error:
        assert error.problem


@settings(max_examples=60)
@given(
    kind=st.sampled_from(["PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP", "PPM"]),
    seed=st.integers(0, 1 << 30),
    places=st.integers(0, 10),
)
def test_a_spoilt_picture_is_read_or_refused(kind: str, seed: int, places: int) -> None:
    data = io.BytesIO()
    Image.effect_noise((40, 30), 80).save(data, kind)
    try:
        for picture in pictures_in_bytes(spoilt(data.getvalue(), seed, places), f"it.{kind}"):
            assert picture.ndim in (2, 3)
    except TagkitError as error:
        assert error.problem


@settings(max_examples=400)
@given(
    st.text(max_size=60)
    | st.binary(max_size=60)
    | st.builds(
        lambda a, b, c: f"{a}B-QM-{b}-{c}",
        st.sampled_from(["", "HTTPS://X/A/", "https://x/8004/", "]C1", "\x1d", "(8004)"]),
        st.integers(-5, 99_999_999),
        st.text(max_size=3),
    )
)
def test_a_payload_names_a_number_of_ours_or_nothing(payload: str | bytes) -> None:
    found = tag_in(payload)
    assert found is None or found.serial > 0
