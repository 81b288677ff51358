"""A file for a moment: made to be sent or read, then removed by whoever asked for it."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def scratch_file(ending: str) -> Path:
    """The path of a new, empty file that only this user may read."""
    handle, name = tempfile.mkstemp(ending, "tagkit-")
    os.close(handle)
    return Path(name)
