"""Picture files and bytes made into arrays, whatever a camera, scanner or phone has written.

The size is checked from the header before any pixel is decoded. Everything comes out as 8-bit
grey or BGR, upright (the EXIF rotation applied), transparency laid on white.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagkit.errors import NotFound, TagkitError, WrongInput

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

LARGEST_PIXELS = 80_000_000
"""Pictures with more pixels are refused before they are decoded (80 million: 8,900 × 8,900)."""

# What Pillow may open; others it knows run outside programs or are no pictures.
_FORMATS = ("PNG", "JPEG", "MPO", "TIFF", "BMP", "GIF", "WEBP", "PPM", "JPEG2000", "AVIF", "TGA")
PICTURE_ENDINGS = frozenset(
    (
        ".png",
        ".jpg",
        ".jpeg",
        ".jpe",
        ".jfif",
        ".tif",
        ".tiff",
        ".bmp",
        ".dib",
        ".gif",
        ".webp",
        ".pbm",
        ".pgm",
        ".ppm",
        ".pnm",
        ".jp2",
        ".avif",
        ".tga",
    )
)
_USE = "Use PNG, JPEG, TIFF, BMP, GIF or WebP"
_DAMAGED = "Copy or take the picture again"


def pictures_in_file(path: Path) -> Iterator[NDArray[Any]]:
    """The pictures in one file: usually one, more for many pages or frames."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise NotFound("no such file", "Check the name", str(path)) from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise WrongInput(f"the file can't be opened ({reason})", "", str(path)) from None
    return pictures_in_bytes(data, str(path))


def pictures_in_bytes(data: bytes, where: str) -> Iterator[NDArray[Any]]:
    """The pictures in the bytes of a picture file; ``where`` names it in errors."""
    from PIL import Image, UnidentifiedImageError

    # Our own limit, checked below, is stricter than the one Pillow warns of.
    warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
    # What is wrong with a file is said in our words, or does not matter.
    warnings.filterwarnings("ignore", category=UserWarning, module="PIL")
    if not data:
        raise WrongInput("the file is empty", _DAMAGED, where)
    try:
        opened = Image.open(io.BytesIO(data), formats=_known_formats())
    except Image.DecompressionBombError:
        raise _too_large(where) from None
    except UnidentifiedImageError:
        yield _other_tiff(data, where)
        return
    except Exception as error:  # noqa: BLE001 - damaged headers raise whatever the parser met
        raise _damaged(error, where) from None
    with opened:
        for page in range(getattr(opened, "n_frames", 1)):
            yield _page(opened, page, where)


def is_picture(data: bytes) -> bool:
    """Whether the first bytes of a file say that it is a picture of a known kind."""
    starts = (b"\x89PNG", b"\xff\xd8\xff", b"II*\0", b"MM\0*", b"II+\0", b"BM", b"GIF8")
    if data.startswith(starts) or data[:2] in (b"P1", b"P2", b"P3", b"P4", b"P5", b"P6"):
        return True
    return (data[:4] == b"RIFF" and data[8:12] == b"WEBP") or data[4:12] in (
        b"ftypavif",
        b"ftypavis",
        b"jP  \r\n\x87\n",
    )


def _known_formats() -> list[str]:
    from PIL import Image

    Image.init()
    return [name for name in _FORMATS if name in Image.OPEN]


def _page(opened: Image.Image, page: int, where: str) -> NDArray[Any]:
    """One page or frame, size checked first."""
    from PIL import ImageOps

    try:
        if page:
            opened.seek(page)
        width, height = opened.size
        if width * height > LARGEST_PIXELS:
            raise _too_large(where, width, height)
        opened.load()
        upright = ImageOps.exif_transpose(opened)
        return _as_array(upright)
    except TagkitError:
        raise
    except Exception as error:  # noqa: BLE001 - each format's parser raises its own kinds
        raise _damaged(error, where) from None


def _as_array(image: Image.Image) -> NDArray[Any]:
    """8-bit grey (H × W) or BGR (H × W × 3)."""
    import numpy as np
    from PIL import Image

    if image.mode in ("1", "L"):
        return np.asarray(image.convert("L"))
    if image.mode in ("I", "F") or image.mode.startswith("I;"):
        return to_eight_bits(np.asarray(image))
    if "A" in image.mode or "a" in image.mode or "transparency" in image.info:
        image = image.convert("RGBA")
        paper = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(paper, image)
    colour = np.asarray(image.convert("RGB"))
    return np.ascontiguousarray(colour[:, :, ::-1])


def to_eight_bits(deep: NDArray[Any]) -> NDArray[Any]:
    """More than 8 bits a pixel spread over 0 to 255, from the darkest to the lightest value.

    Cameras put 10 or 12 bits into 16, so that the nominal range says little.
    """
    import numpy as np

    values = np.nan_to_num(deep.astype(np.float32), posinf=0.0, neginf=0.0)
    darkest, lightest = float(values.min()), float(values.max())
    if lightest <= darkest:
        return np.zeros(values.shape, np.uint8)
    spread: NDArray[Any] = ((values - darkest) * (255 / (lightest - darkest))).astype(np.uint8)
    return spread


def _other_tiff(data: bytes, where: str) -> NDArray[Any]:
    """A TIFF of a kind that Pillow does not know (16-bit colour), through OpenCV."""
    import cv2
    import numpy as np

    if not data.startswith((b"II*\0", b"MM\0*")):
        raise WrongInput("this is not a picture of a kind that can be read", _USE, where)
    width, height = _tiff_size(data, where)
    if width * height > LARGEST_PIXELS:
        raise _too_large(where, width, height)
    try:
        array = cv2.imdecode(
            np.frombuffer(data, np.uint8), cv2.IMREAD_ANYCOLOR | cv2.IMREAD_ANYDEPTH
        )
    except cv2.error:
        array = None
    if array is None:
        raise WrongInput("the TIFF file is damaged or of an unusual kind", _USE, where)
    return array if array.dtype == np.uint8 else to_eight_bits(array)


def _tiff_size(data: bytes, where: str) -> tuple[int, int]:
    """Width and height from the first directory of a TIFF (tags 256 and 257, TIFF 6.0)."""
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    try:
        directory = ImageFileDirectory_v2(data[:8])
        stream = io.BytesIO(data)
        stream.seek(directory.next)
        directory.load(stream)
        return int(directory[256]), int(directory[257])
    except Exception as error:  # noqa: BLE001 - a damaged directory raises anything
        raise _damaged(error, where) from None


def _too_large(where: str, width: int = 0, height: int = 0) -> WrongInput:
    size = f"{width:,} × {height:,} pixels" if width else "far more pixels than a camera takes"
    return WrongInput(
        f"the picture is too large ({size}; the limit is {LARGEST_PIXELS:,})",
        "Make it smaller, or cut out the label",
        where,
    )


def _damaged(error: Exception, where: str) -> WrongInput:
    reason = str(error).split("\n")[0].strip() or type(error).__name__
    return WrongInput(f"the picture is damaged or cut short ({reason})", _DAMAGED, where)
