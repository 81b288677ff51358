"""Where pictures come from: a file, a folder, a video, a camera, a network stream, bytes.

:func:`open_source` tells them apart and gives frames one after another. What can be checked
without decoding (missing files, unknown addresses, cameras that do not answer) is reported at
once; a picture's own trouble when its turn comes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal

from tagkit.errors import NotFound, TagkitError, WrongInput

if TYPE_CHECKING:
    from numpy.typing import NDArray

SourceKind = Literal["picture", "folder", "video", "camera", "stream"]

STREAM_SCHEMES = ("rtsp", "http", "https")
# A Windows path (C:\…) has one letter before the colon; a scheme has more.
_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+):(?://)?")


@dataclass(frozen=True)
class Frame:
    """One picture of a source.

    ``picture`` is grey (H × W) or BGR (H × W × 3), uint8. ``at`` is seconds from the start of
    the video or since the camera was opened; 0 for still pictures. ``still`` says that the
    picture stands alone, so that one read of it must do.
    """

    source: str
    index: int
    picture: NDArray[Any]
    at: float
    still: bool = True


@dataclass
class Source(Iterator[Frame]):
    """An opened source: iterate over it, or use it in a ``with`` block.

    ``skipped`` names the files of a folder that are no pictures, ``troubles`` holds the errors
    of those that are but could not be read, and remarks such as a video that ends early.
    """

    name: str
    kind: SourceKind
    frames: Iterator[Frame]
    skipped: list[str] = field(default_factory=list)
    troubles: list[TagkitError] = field(default_factory=list)

    def __next__(self) -> Frame:
        return next(self.frames)

    def close(self) -> None:
        """Give the camera, the connection or the file back."""
        close = getattr(self.frames, "close", None)
        if close:
            close()

    def __enter__(self) -> Source:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_source(source: str | int | Path | bytes) -> Source:
    """Open a picture, folder or video file, a camera by its number, a stream by its address, or
    the bytes of a picture file.

    WrongInput or NotFound, naming the source, when there is nothing to read there.
    """
    from tagkit.reader.video import camera_frames, stream_frames

    if isinstance(source, bytes | bytearray | memoryview):
        return Source("picture", "picture", _still_frames(bytes(source), "picture"))
    if isinstance(source, int):
        return Source(f"camera {source}", "camera", camera_frames(source))
    if isinstance(source, str):
        scheme = _SCHEME.match(source)
        if scheme and not Path(source).exists():
            if scheme[1].lower() in STREAM_SCHEMES and "://" in source:
                return Source(_without_password(source), "stream", stream_frames(source))
            raise WrongInput(
                f"addresses that begin with {scheme[1]}: are not read",
                "Use rtsp, http or https, or name a file",
                _without_password(source),
            )
    return _open_path(Path(source))


def _open_path(path: Path) -> Source:
    from tagkit.reader.pictures import is_picture
    from tagkit.reader.video import is_video, video_frames

    where = str(path)
    try:
        if path.is_dir():
            return _open_folder(path)
        if not path.exists():
            raise NotFound("there is no such file or folder", "Check the name", where)
        if not path.is_file():
            raise WrongInput("this is neither a file nor a folder", "Name a picture", where)
        with path.open("rb") as file:
            head = file.read(64)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WrongInput(
            f"the file can't be opened ({reason})", "Check its name and rights", where
        ) from None
    if not is_picture(head) and is_video(head, path.suffix):
        made = Source(where, "video", iter(()))
        made.frames = video_frames(path, made.troubles)
        return made
    return Source(where, "picture", _file_frames(path))


def _open_folder(folder: Path) -> Source:
    from tagkit.reader.pictures import PICTURE_ENDINGS

    files = sorted((p for p in folder.iterdir() if p.is_file()), key=lambda p: natural(p.name))
    pictures = [p for p in files if p.suffix.lower() in PICTURE_ENDINGS]
    skipped = [p.name for p in files if p.suffix.lower() not in PICTURE_ENDINGS]
    if not pictures:
        others = f" among its {len(files)} files" if files else ": it is empty"
        raise NotFound(
            f"the folder holds no pictures{others}", "Name the folder they are in", str(folder)
        )
    made = Source(str(folder), "folder", iter(()), skipped)
    made.frames = _folder_frames(pictures, made.troubles)
    return made


def natural(name: str) -> list[tuple[int, int, str]]:
    """Sort key by which IMG_2 comes before IMG_10."""
    parts = re.findall(r"\d+|\D+", name)
    return [(0, int(p), p) if p.isdecimal() else (1, 0, p.casefold()) for p in parts]


def _folder_frames(pictures: list[Path], troubles: list[TagkitError]) -> Iterator[Frame]:
    for path in pictures:
        try:
            yield from _file_frames(path)
        except TagkitError as trouble:
            troubles.append(trouble)


def _file_frames(path: Path) -> Iterator[Frame]:
    from tagkit.reader.pictures import pictures_in_file

    for index, picture in enumerate(pictures_in_file(path)):
        yield Frame(str(path), index, picture, 0.0)


def _still_frames(data: bytes, name: str) -> Iterator[Frame]:
    from tagkit.reader.pictures import pictures_in_bytes

    for index, picture in enumerate(pictures_in_bytes(data, name)):
        yield Frame(name, index, picture, 0.0)


def _without_password(address: str) -> str:
    """The address as it may be shown and logged."""
    return re.sub(r"(?<=//)[^/@]*@", "", address)
