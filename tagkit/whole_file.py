"""Files that appear whole or not at all, also when two write the same one at once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def beside(path: Path) -> Path:
    """A name in the folder of ``path`` that nobody else writes to; it ends with ``.part``.

    Whoever writes it moves it into place with :meth:`Path.replace`, and deletes it when that
    fails; :func:`whole_file` does both.
    """
    return path.with_name(f".{path.name[:40]}.{os.urandom(6).hex()}.part")


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """The file to write instead of ``path``, which it becomes at the end; without an error only.

    Until then ``path`` is as it was, and nothing is left beside it whatever happens short of the
    program being killed. Raises OSError for a folder that can't be written to.
    """
    part = beside(path)
    try:
        yield part
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
