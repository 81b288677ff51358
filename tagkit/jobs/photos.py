"""Photographs that people add: checked, made small, kept in the site's folder by their content.

A photo is decoded and written anew, so that what is kept is a picture and nothing else: no place
where it was taken, no name, no hidden content.
"""

from __future__ import annotations

import io
import re
from hashlib import sha256
from pathlib import Path

from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.site import Site
from tagkit.whole_file import whole_file

FOLDER = "photos"
LARGEST_BYTES = 12_000_000
LARGEST_PIXELS = 60_000_000
LONGEST_SIDE = 1600
_NAME = re.compile(r"[0-9a-f]{64}\.jpg")


def keep_photo(site: Site, content: bytes) -> str:
    """Keeps the picture; the name under which it is kept. WrongInput for what is no photo."""
    made = _again(content)
    name = f"{sha256(made).hexdigest()}.jpg"
    path = site.directory / FOLDER / name
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        with whole_file(path) as part:
            part.write_bytes(made)
    return name


def photo_path(site: Site, name: str) -> Path:
    """The file of a photo; NotFound for any other name."""
    path = site.directory / FOLDER / name
    if not _NAME.fullmatch(name) or not path.is_file():
        raise NotFound("there is no such photo", "Open it from the page of its asset")
    return path


def _again(content: bytes) -> bytes:
    from PIL import Image, ImageOps, UnidentifiedImageError

    if len(content) > LARGEST_BYTES:
        raise WrongInput(
            f"the photo is larger than {LARGEST_BYTES // 1_000_000} MB",
            "Take it with a smaller size",
            "photo",
        )
    try:
        # Only these decoders are tried, whatever the file calls itself.
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as opened:
            if opened.width * opened.height > LARGEST_PIXELS:
                raise WrongInput(
                    "the photo has too many pixels", "Take it with a smaller size", "photo"
                )
            opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except UnidentifiedImageError:
        raise WrongInput(
            "this file is not a photo that can be read", "Send a JPEG, PNG or WebP", "photo"
        ) from None
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise WrongInput("the photo is damaged", "Take it again", "photo") from None
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    made = io.BytesIO()
    picture.save(made, "JPEG", quality=82)
    return made.getvalue()
