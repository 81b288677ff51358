"""Picture files of every kind a camera, scanner or phone writes: read, or a clear error."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from scenes import flat_symbol
from tagkit.errors import NotFound, TagkitError, WrongInput
from tagkit.reader.decoders import decode_all
from tagkit.reader.pictures import (
    LARGEST_PIXELS,
    is_picture,
    pictures_in_bytes,
    pictures_in_file,
    to_eight_bits,
)
from tagkit.reader.read import to_grey

TEXT = "B-QM-00417-D"
SYMBOL = flat_symbol(TEXT)
PLAIN = Image.fromarray(SYMBOL)


def saved(image: Image.Image, form: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def deep(depth: int, colour: bool) -> np.ndarray:
    values = (SYMBOL.astype(np.uint16) // 255) * (2**depth - 1)
    return np.repeat(values[:, :, None], 3, axis=2) if colour else values


def encoded(ending: str, array: np.ndarray) -> bytes:
    done, data = cv2.imencode(ending, array)
    assert done
    return data.tobytes()


def see_through() -> Image.Image:
    """Only the dark modules are painted; the rest is transparent (and black underneath)."""
    colours = np.zeros((*SYMBOL.shape, 4), np.uint8)
    colours[:, :, 3] = 255 - SYMBOL
    return Image.fromarray(colours)


def orientated(turns: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = turns
    return saved(PLAIN.convert("RGB"), "JPEG", exif=exif)


KINDS = {
    "1-bit PNG": saved(PLAIN.convert("1"), "PNG"),
    "grey PNG": saved(PLAIN, "PNG"),
    "palette PNG": saved(PLAIN.convert("P"), "PNG"),
    "palette PNG with transparency": saved(PLAIN.convert("P"), "PNG", transparency=255),
    "PNG with alpha": saved(see_through(), "PNG"),
    "grey PNG with alpha": saved(see_through().convert("LA"), "PNG"),
    "16-bit grey PNG": encoded(".png", deep(16, False)),
    "12 bits in a 16-bit PNG": encoded(".png", deep(12, False)),
    "16-bit colour PNG": encoded(".png", deep(16, True)),
    "16-bit grey TIFF": encoded(".tif", deep(16, False)),
    "16-bit colour TIFF": encoded(".tif", deep(16, True)),
    "floating-point TIFF": saved(Image.fromarray(SYMBOL.astype(np.float32) / 255), "TIFF"),
    "fax TIFF": saved(PLAIN.convert("1"), "TIFF", compression="group4"),
    "CMYK JPEG": saved(PLAIN.convert("CMYK"), "JPEG"),
    "CMYK TIFF": saved(PLAIN.convert("CMYK"), "TIFF"),
    "grey JPEG": saved(PLAIN, "JPEG"),
    "GIF": saved(PLAIN, "GIF"),
    "BMP": saved(PLAIN, "BMP"),
    "WebP": saved(PLAIN, "WEBP"),
    "PGM": saved(PLAIN, "PPM"),
    "Targa": saved(PLAIN, "TGA"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_picture_is_read(kind: str) -> None:
    (picture,) = pictures_in_bytes(KINDS[kind], kind)
    assert picture.dtype == np.uint8
    assert decode_all(to_grey(picture)) == [TEXT]


@pytest.mark.parametrize("turns", range(1, 9))
def test_photographs_come_upright(turns: int) -> None:
    """The corner that is dark in the upright picture is where EXIF says it belongs."""
    marked = np.full((40, 60, 3), 255, np.uint8)
    marked[:10, :10] = 0
    exif = Image.Exif()
    exif[0x0112] = turns
    (picture,) = pictures_in_bytes(saved(Image.fromarray(marked), "PNG", exif=exif), "photo")
    rows_first = {1: "ok", 2: "mirror", 3: "half turn", 4: "flip"}
    assert picture.shape[:2] == ((40, 60) if turns in rows_first else (60, 40))
    dark = np.argwhere(picture[:, :, 0] == 0).mean(axis=0) / picture.shape[:2]
    corner = (bool(dark[0] > 0.5), bool(dark[1] > 0.5))
    # Rows 0 and columns 0 of the stored picture show these sides (EXIF 2.32, tag Orientation).
    side = {1: "tl", 2: "tr", 3: "br", 4: "bl", 5: "tl", 6: "tr", 7: "br", 8: "bl"}[turns]
    assert corner == (side[0] == "b", side[1] == "r")


@pytest.mark.parametrize("turns", [3, 6, 8])
def test_a_photograph_held_sideways_is_read(turns: int) -> None:
    (picture,) = pictures_in_bytes(orientated(turns), "photo")
    assert decode_all(to_grey(picture)) == [TEXT]


def test_every_page_and_every_frame_is_read() -> None:
    texts = [f"B-QM-{serial:05d}-X" for serial in range(3)]
    pages = [Image.fromarray(flat_symbol(text)) for text in texts]
    for form in ("TIFF", "GIF", "PNG", "WEBP"):
        data = saved(pages[0], form, save_all=True, append_images=pages[1:])
        read = [decode_all(to_grey(page)) for page in pictures_in_bytes(data, form)]
        assert read == [[text] for text in texts], form


def bomb_png(width: int, height: int) -> bytes:
    """A PNG of a few bytes that claims to be huge."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(bytes(1000)))
        + chunk(b"IEND", b"")
    )


def bomb_tiff(width: int, height: int) -> bytes:
    """A 16-bit colour TIFF (a kind that only OpenCV decodes) that claims to be huge."""
    tags = [(256, width), (257, height), (258, 16), (259, 1), (262, 2), (273, 8), (277, 3)]
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    return struct.pack("<2sHIH", b"II", 42, 8, len(tags)) + entries + bytes(4)


@pytest.mark.parametrize(
    "data",
    [
        bomb_png(10_000, 9_000),
        bomb_png(60_000, 60_000),
        bomb_png(2_000_000_000, 2_000_000_000),
        bomb_tiff(60_000, 60_000),
    ],
)
def test_a_picture_that_would_fill_the_memory_is_refused_unopened(data: bytes) -> None:
    with pytest.raises(WrongInput, match="too large"):
        list(pictures_in_bytes(data, "bomb"))


def test_the_limit_is_said_and_lets_a_scanned_sheet_through() -> None:
    with pytest.raises(WrongInput, match="80,000,000"):
        list(pictures_in_bytes(bomb_png(10_000, 9_000), "bomb"))
    assert LARGEST_PIXELS > 4_960 * 7_016  # A4 at 600 dpi


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"hello, this is no picture", "not a picture"),
        (b"%PDF-1.7\n", "not a picture"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n", "not a picture"),
        (KINDS["grey PNG"][:200], "damaged or cut short"),
        (KINDS["grey JPEG"][: len(KINDS["grey JPEG"]) // 2], "damaged or cut short"),
        (KINDS["GIF"][:100], "damaged or cut short"),
        (KINDS["16-bit colour TIFF"][:60], "damaged|too large|not a picture"),
        (b"\x89PNG\r\n\x1a\n", "damaged|not a picture"),
    ],
)
def test_broken_files_are_named(data: bytes, words: str) -> None:
    with pytest.raises(WrongInput, match=words) as caught:
        list(pictures_in_bytes(data, "photo.png"))
    assert str(caught.value).startswith("photo.png: ")


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(KINDS)), st.integers(0, 4000), st.binary(min_size=1, max_size=6))
def test_bytes_changed_at_random_are_read_or_refused(kind: str, at: int, junk: bytes) -> None:
    data = bytearray(KINDS[kind])
    at %= len(data)
    data[at : at + len(junk)] = junk
    try:
        for picture in pictures_in_bytes(bytes(data), kind):
            to_grey(picture)
    except TagkitError as error:
        assert str(error).startswith(f"{kind}: ")


def test_a_file_with_letters_of_any_language_in_its_name(tmp_path: Path) -> None:
    path = tmp_path / "Batterie Prüfung 电池 №5.png"
    path.write_bytes(KINDS["grey PNG"])
    (picture,) = pictures_in_file(path)
    assert decode_all(to_grey(picture)) == [TEXT]


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no such file"):
        list(pictures_in_file(tmp_path / "nothing.png"))
    with pytest.raises(WrongInput, match="can't be opened"):
        list(pictures_in_file(tmp_path))


def test_pictures_are_known_by_their_first_bytes() -> None:
    named_by_ending_only = {"Targa"}
    assert [kind for kind in KINDS if not is_picture(KINDS[kind][:64])] == [*named_by_ending_only]
    assert not is_picture(b"RIFF\0\0\0\0AVI LIST")
    assert not is_picture(b"")


def test_deep_pictures_keep_their_order_of_brightness() -> None:
    assert to_eight_bits(np.array([[0, 2048, 4095]], np.uint16)).tolist() == [[0, 127, 255]]
    assert to_eight_bits(np.array([[7, 7]], np.uint16)).tolist() == [[0, 0]]
    assert to_eight_bits(np.array([[np.nan, 0.0, 1.0]])).tolist() == [[0, 0, 255]]
