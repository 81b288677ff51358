"""How far apart the symbols of neighbouring tags are, by payload, version, level and mask.

Run by hand: python tests/bench/bench_code_design.py [TAGS]

Recovery names a tag by comparing what is left of a symbol with the symbols that it could be, so
the fewest modules in which two of them differ (the nearest distance) say how much may be lost.
Held fixed: consecutive serials of one site and kind, function patterns left out of the count
(they are the same everywhere), format information counted. Every symbol is also drawn at 3
pixels a module with its quiet zone and given to each decoder, undamaged.

Mask policies: "standard" takes the mask of least penalty (ISO/IEC 18004, 7.8.3); "serial" takes
one from the serial's digits alone, so that anyone who knows the tag knows the mask; "distance"
takes for each tag in turn the mask that is farthest from all tags before it, which needs the
roster at printing and the record for reading.

The second table gives general decoders the same symbols in frames of one printed size, partly
covered by blotches (bleached and dark discs), at 0.6 px of blur and noise 4: how much of the
symbol may be lost before phones stop reading it, and what larger modules are worth.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Callable

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.symbol.encode import Symbol, encode
from tagkit.symbol.tables import Level

Bits = NDArray[np.uint8]
LINK = "HTTPS://LABELS.EXAMPLE/A/"
# Payload, version, level: what goes into the frame of the shipped templates. The share of the
# side that a module takes is 1 / (4 version + 29), frame and quiet zone included.
DESIGNS: list[tuple[str, int, Level]] = [
    ("bare", 1, "M"), ("bare", 1, "Q"), ("bare", 2, "H"), ("bare", 3, "H"), ("bare", 4, "H"),
    ("link", 2, "L"), ("link", 3, "Q"), ("link", 4, "H"), ("link", 5, "H"),
]  # fmt: skip


def consecutive(count: int) -> list[Tag]:
    serials = itertools.islice(serials_after(Kind.BATTERY, "QM", 0), count)
    return [tag_for(Kind.BATTERY, "QM", serial) for serial in serials]


def packed(symbol: Symbol) -> Bits:
    bits = symbol.size**2
    return np.frombuffer((symbol.bits << -bits % 8).to_bytes(-(-bits // 8)), np.uint8)


def distances(one: Bits, others: NDArray[np.uint8]) -> NDArray[np.int64]:
    return np.bitwise_count(one ^ others).sum(1, dtype=np.int64)


def by_serial(tag: Tag) -> int:
    """A mask from the digits, so that tags differing in one digit differ in their masks."""
    digits = [int(digit) for digit in f"{tag.serial:05d}"]
    return sum(weight * digit for weight, digit in zip((5, 3, 5, 3, 1), digits, strict=True)) % 8


def chosen(
    policy: str, tags: list[Tag], text: Callable[[Tag], str], version: int, level: Level
) -> list[Symbol]:
    if policy == "standard":
        return [encode(text(tag), level, version) for tag in tags]
    if policy == "serial":
        return [encode(text(tag), level, version, by_serial(tag)) for tag in tags]
    taken: list[Symbol] = []
    rows = np.empty((len(tags), len(packed(encode(text(tags[0]), level, version, 0)))), np.uint8)
    for number, tag in enumerate(tags):
        tries = [encode(text(tag), level, version, mask) for mask in range(8)]
        nearest = [
            int(distances(packed(symbol), rows[:number]).min()) if number else 0 for symbol in tries
        ]
        best = tries[int(np.argmax(nearest))]
        rows[number] = packed(best)
        taken.append(best)
    return taken


def nearest(symbols: list[Symbol]) -> tuple[int, float]:
    """The smallest distance of any two, and the mean distance of a symbol's own nearest."""
    rows = np.array([packed(symbol) for symbol in symbols])
    own = []
    for number, row in enumerate(rows):
        apart = distances(row, rows)
        apart[number] = np.iinfo(np.int64).max
        own.append(int(apart.min()))
    return min(own), float(np.mean(own))


def drawn(symbol: Symbol, scale: int = 3) -> NDArray[np.uint8]:
    modules = np.pad(np.array(symbol.matrix), 4)
    return np.kron(np.where(modules, 0, 255).astype(np.uint8), np.ones((scale, scale), np.uint8))


def by_opencv(detector: cv2.QRCodeDetector | cv2.QRCodeDetectorAruco, grey: Bits) -> str:
    try:
        return str(detector.detectAndDecode(grey)[0])
    except cv2.error:  # it raises on some damaged symbols
        return ""


def decoders() -> dict[str, Callable[[NDArray[np.uint8]], str]]:
    classic, aruco = cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco()
    found: dict[str, Callable[[NDArray[np.uint8]], str]] = {
        "zxing": lambda grey: next((code.text for code in zxingcpp.read_barcodes(grey)), ""),
        "OpenCV": lambda grey: by_opencv(classic, grey),
        "OpenCV aruco": lambda grey: by_opencv(aruco, grey),
    }
    try:
        from pyzbar import pyzbar
    except ImportError:
        return found
    found["zbar"] = lambda grey: next(
        (code.data.decode() for code in pyzbar.decode(grey, [pyzbar.ZBarSymbol.QRCODE])), ""
    )
    return found


def covered(symbol: Symbol, share: float, pixels: int, rng: np.random.Generator) -> Bits:
    """A framed symbol ``pixels`` wide with discs over this share of the symbol itself."""
    fine = 8
    dark = np.pad(np.pad(np.array(symbol.matrix), 4), 2, constant_values=True)
    picture = np.kron(np.where(np.pad(dark, 2), 40, 218).astype(np.float32), np.ones((fine, fine)))
    low, side = 8 * fine, symbol.size * fine
    lost = np.zeros((side, side), np.uint8)
    while lost.mean() < share:
        centre = rng.integers(0, side, 2)
        radius = int(side * rng.uniform(0.04, 0.12))
        disc = np.zeros_like(lost)
        cv2.circle(disc, (int(centre[0]), int(centre[1])), radius, 1, -1)
        inner = picture[low : low + side, low : low + side]
        inner[disc > 0] = rng.choice([30.0, 225.0])
        lost |= disc
    scaled = cv2.resize(picture, None, fx=pixels / (dark.shape[0] * fine),
                        fy=pixels / (dark.shape[0] * fine), interpolation=cv2.INTER_AREA)  # type: ignore[call-overload]  # fmt: skip
    blurred = cv2.GaussianBlur(scaled, (0, 0), 0.6)
    return np.clip(blurred + rng.normal(0, 4, blurred.shape), 0, 255).astype(np.uint8)


def under_blotches(tags: list[Tag], readers: dict[str, Callable[[Bits], str]]) -> None:
    print("\nread under blotches, of", len(tags), "(frame in pixels, share of the symbol covered)")
    print(f"{'payload':8}{'code':>6}{'frame':>7}{'share':>7}"
          + "".join(f"{name:>14}" for name in readers))  # fmt: skip
    for payload, version, level in DESIGNS:
        prefix = LINK if payload == "link" else ""
        for pixels in (100, 250):
            for share in (0.02, 0.05, 0.1):
                rng = np.random.default_rng(5)
                seen = []
                for tag in tags:
                    symbol = encode(f"{prefix}{tag}", level, version)
                    seen.append((symbol.payload, covered(symbol, share, pixels, rng)))
                counts = [
                    sum(read(picture) == text for text, picture in seen)
                    for read in readers.values()
                ]
                print(f"{payload:8}{version:4}-{level}{pixels:7}{share:7.0%}"
                      + "".join(f"{count:14}" for count in counts), flush=True)  # fmt: skip


def main() -> None:
    tags = consecutive(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
    readers = decoders()
    read_by = tags[:: max(1, len(tags) // 100)]
    header = (
        f"{'payload':8}{'code':>6}{'modules':>9}{'mask':>10}{'nearest':>9}{'mean':>7}{'share':>7}"
    )
    print(header + "".join(f"{name:>14}" for name in readers) + "   of", len(read_by))
    for payload, version, level in DESIGNS:
        prefix = LINK if payload == "link" else ""
        for policy in ("standard", "serial", "distance"):
            symbols = chosen(policy, tags, lambda tag, p=prefix: f"{p}{tag}", version, level)  # type: ignore[misc]
            least, mean = nearest(symbols)
            size = symbols[0].size
            counts = {
                name: sum(
                    read(drawn(symbol)) == symbol.payload
                    for tag, symbol in zip(tags, symbols, strict=True) if tag in read_by
                )
                for name, read in readers.items()
            }  # fmt: skip
            print(
                f"{payload:8}{version:4}-{level}{size:6}²  {policy:>10}{least:9}{mean:7.0f}"
                f"{least / size**2:7.1%}" + "".join(f"{count:14}" for count in counts.values()),
                flush=True,
            )
    under_blotches(read_by, readers)


if __name__ == "__main__":
    main()
