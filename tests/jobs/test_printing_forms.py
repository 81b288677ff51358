"""Labels as SVG for plates and as PNG for printers, proofed like PDF."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import zxingcpp
from battery_room import run


def a_site_with_batteries(folder: Path) -> list[str]:
    assert run("init", folder, "--code", "QM").code == 0
    sheet = folder / "fleet.csv"
    sheet.write_text(
        "Serial,Voltage,Weight,Capacity,Chemistry\n"
        "A1,48 V,1142 kg,775 Ah (5 h),vented\n"
        "A2,48 V,1150 kg,775 Ah (5 h),vented\n",
        encoding="utf-8",
    )
    taken = run("receive", sheet, "--as-stamped", "--by", "SW", "--site", folder, "--json")
    return [row["tag"] for row in taken.data["taken"]]


def test_a_png_holds_the_label_in_printer_dots(tmp_path: Path) -> None:
    first, second = a_site_with_batteries(tmp_path / "site")
    out = tmp_path / "labels.png"
    done = run("labels", first, second, "--out", out, "--by", "SW", "--site", tmp_path / "site")
    assert done.code == 0, done.err
    grey = cv2.imdecode(np.fromfile(out, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert set(np.unique(grey)) == {0, 255}
    assert {code.text for code in zxingcpp.read_barcodes(grey)} == {first, second}


def test_an_svg_holds_one_label(tmp_path: Path) -> None:
    first, second = a_site_with_batteries(tmp_path / "site")
    out = tmp_path / "plate.svg"
    both = run("labels", first, second, "--out", out, "--by", "SW", "--site", tmp_path / "site")
    assert both.code == 2
    assert not out.exists()
    one = run(
        "labels", first, "--template", "battery-side", "--out", out, "--by", "SW",
        "--site", tmp_path / "site",
    )  # fmt: skip
    assert one.code == 0, one.err
    assert out.read_text(encoding="utf-8").startswith("<?xml")
    assert f"<title>{first}</title>" in out.read_text(encoding="utf-8")


def test_another_ending_is_refused_before_anything_is_printed(tmp_path: Path) -> None:
    first, _ = a_site_with_batteries(tmp_path / "site")
    out = tmp_path / "labels.docx"
    done = run("labels", first, "--out", out, "--by", "SW", "--site", tmp_path / "site")
    assert done.code == 2
    assert ".pdf" in done.err
