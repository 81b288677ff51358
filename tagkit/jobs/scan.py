"""The number on a photographed label."""

from __future__ import annotations

from tagkit.assets.tag import Tag
from tagkit.errors import NotFound


def tag_in_photo(content: bytes) -> Tag:
    """The one number of ours in this picture (the bytes of an image file).

    Raises WrongInput for bytes that are no picture, NotFound when there is no number of ours in
    it, or more than one: which of them is meant is not guessed.
    """
    from tagkit.reader.pictures import pictures_in_bytes
    from tagkit.reader.read import no_recovery, read_picture

    seen: dict[Tag, None] = {}
    foreign = 0
    for picture in pictures_in_bytes(content, "photo"):
        for read in read_picture(picture, recovery=no_recovery):
            if read.tag is not None:
                seen[read.tag] = None
            else:
                foreign += 1
    if len(seen) > 1:
        raise NotFound(
            f"there are {len(seen)} labels in the picture",
            "Photograph one alone, or type its number",
        )
    if not seen:
        found = (
            "the picture holds only codes that are not ours"
            if foreign
            else "the picture holds no label that can be read"
        )
        raise NotFound(found, "Photograph it closer and straight, or type the number")
    return next(iter(seen))
