"""Lines from handheld scanners."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.tag import Kind, Tag, tag_for
from tagkit.reader.scanner import Foreign, parse_line

BATTERY = tag_for(Kind.BATTERY, "QM", 417)
TRUCK = tag_for(Kind.TRUCK, "QYZ", 11)


@pytest.mark.parametrize(
    "line",
    [
        f"{BATTERY}",
        f"{BATTERY}\r\n",
        f"  {BATTERY}\t",
        f"\x02{BATTERY}\x03",
        f"]Q1{BATTERY}",
        f"{BATTERY}".lower(),
        f"HTTPS://LABELS.EXAMPLE/A/{BATTERY}\n",
        f"https://labels.example/a/{BATTERY}".lower(),
    ],
)
def test_what_scanners_send(line: str) -> None:
    assert parse_line(line) == BATTERY


def typed(text: str, keys: str, shown: str) -> str:
    return text.translate(str.maketrans(keys, shown))


def test_a_us_scanner_on_a_german_keyboard() -> None:
    garbled = typed(f"HTTPS://LABELS.EXAMPLE/A/{TRUCK}", "-:/YZ", "ßÖ-ZY")
    assert garbled.startswith("HTTPSÖ--LABELS.EXAMPLE-A-TßQZYß")
    assert parse_line(garbled) == TRUCK


def test_a_us_scanner_on_a_spanish_keyboard() -> None:
    garbled = typed(f"HTTPS://LABELS.EXAMPLE/A/{BATTERY}", "-:/", "'Ñ-")
    assert parse_line(garbled) == BATTERY


def test_a_us_scanner_on_a_french_keyboard() -> None:
    garbled = typed(str(BATTERY), "-0123456789QAWZM", ")à&é\"'(-è_çAQZW?")
    assert garbled.startswith("B)A?)à")
    assert parse_line(garbled) == BATTERY


def test_a_foreign_code_and_a_misread_number_are_foreign() -> None:
    assert parse_line("4006381333931\r") == Foreign("4006381333931")
    assert parse_line("B-QM-00417-E") == Foreign("B-QM-00417-E")


@pytest.mark.parametrize("line", ["", "\r\n", "   ", "]Q1"])
def test_an_empty_line_is_nothing(line: str) -> None:
    assert parse_line(line) is None


@given(st.text())
def test_any_line_gives_a_tag_a_foreign_code_or_nothing(line: str) -> None:
    result = parse_line(line)
    assert result is None or isinstance(result, Tag | Foreign)
