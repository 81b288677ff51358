"""Framed labels with part of them destroyed, seen by a camera: made by code, for tests."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.reader.recovery.roster import Roster, Variant
from tagkit.symbol.encode import encode

Grey = NDArray[np.uint8]
LINK = "HTTPS://LABELS.EXAMPLE/A/"
MASK = 3  # as the record may know it; the standard's own choice where None is given
_UP = 12  # pixels a module in the artwork


def tags(count: int, kind: Kind = Kind.BATTERY) -> list[Tag]:
    """The first tags of a site, every fifth withheld: printed but never registered."""
    serials = serials_after(kind, "QM", 400)
    return [tag_for(kind, "QM", next(serials)) for _ in range(count)]


def registered(count: int = 200, link: bool = False) -> Roster:
    """A roster of four of every five tags."""
    chosen = [tag for index, tag in enumerate(tags(count)) if index % 5]
    return Roster(variant(tag, link) for tag in chosen)


def withheld(count: int = 200) -> list[Tag]:
    """The others."""
    return tags(count)[::5]


def variant(tag: Tag, link: bool = False) -> Variant:
    """The label of a tag as it is printed."""
    symbol = encode(f"{LINK}{tag}" if link else str(tag), "H", mask=MASK)
    return Variant(tag, symbol.payload, symbol.version, "H", symbol.mask)


def modules(payload: str, mask: int | None = MASK) -> NDArray[np.float32]:
    """The symbol's modules as greys: 40 dark, 215 light."""
    return np.where(np.array(encode(payload, "H", mask=mask).matrix), 40.0, 215.0).astype(
        np.float32
    )


def blotches(side: int, share: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """A square of ``side`` of which ``share`` is under soft round blotches."""
    noise = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), side / 12)
    return noise > np.quantile(noise, 1 - share)


def round_a_cable(art: Grey, radius: float, middle: float) -> Grey:
    """Artwork as seen from the front when it goes round a cable that runs down it; lengths in
    pixels of the artwork."""
    reach = int(radius)
    seen = np.arange(-reach, reach + 1, dtype=np.float32)
    columns = radius * np.arcsin(seen / radius) + middle
    rows = np.arange(art.shape[0], dtype=np.float32)
    x, y = np.meshgrid(columns.astype(np.float32), rows)
    return cv2.remap(art, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[return-value]


def face(payload: str, mask: int | None = MASK) -> NDArray[np.float32]:
    """A whole label with its frame, one pixel a module, three modules of film around it."""
    inside = modules(payload, mask)
    size = len(inside)
    whole = np.full((size + 18, size + 18), 215, np.float32)
    whole[3:-3, 3:-3] = 40
    whole[5:-5, 5:-5] = 215
    whole[9:-9, 9:-9] = inside
    return whole


def picture(
    payload: str,
    share: float,
    seed: int,
    *,
    module: float = 4.0,
    tone: float | None = None,
    mask: int | None = MASK,
) -> Grey:
    """A framed label under blotches, tilted and turned a little, with noise, on a dull wall."""
    rng = np.random.default_rng(seed)
    art = np.kron(face(payload, mask), np.ones((_UP, _UP), np.float32))
    lost = blotches(len(art), share, rng) if share else np.zeros(art.shape, bool)
    art[lost] = rng.choice([30.0, 225.0]) if tone is None else tone
    wall = np.full((480, 640), 120, np.float32) + 6 * cv2.GaussianBlur(
        rng.normal(0, 9, (480, 640)).astype(np.float32), (0, 0), 9
    )
    half = len(art) / 2
    reach = half / _UP * module
    angle = np.radians(rng.normal(0, 6))
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], np.float64)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = square @ turn.T * reach + (320, 240) + rng.uniform(-0.04, 0.04, (4, 2)) * reach
    matrix = cv2.getPerspectiveTransform(
        ((square + 1) * half).astype(np.float32), corners.astype(np.float32)
    )
    small = cv2.warpPerspective(
        cv2.GaussianBlur(art, (0, 0), _UP / module / 2), matrix, (640, 480), flags=cv2.INTER_LINEAR
    )
    cover = cv2.warpPerspective(np.ones_like(art), matrix, (640, 480), flags=cv2.INTER_LINEAR)
    seen = cv2.GaussianBlur(wall * (1 - cover) + small * cover, (0, 0), 0.7)
    return np.clip(seen + rng.normal(0, 3, seen.shape), 0, 255).astype(np.uint8)
