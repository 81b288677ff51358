"""Recovery for Watch and read_picture that remembers what earlier frames showed."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import numpy as np

from tagkit.assets.tag import Tag
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import ALPHA
from tagkit.reader.recovery.recover import SECONDS
from tagkit.reader.recovery.stream import RecoveryStream

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Looks:
    """One for each video or camera. ``seconds`` limits the search in each frame; ``alpha`` is the
    risk of a wrong tag for each label held up."""

    def __init__(self, *, seconds: float = SECONDS, alpha: float = ALPHA) -> None:
        self._seconds = seconds
        self._stream = RecoveryStream(alpha=alpha)

    def __call__(
        self, grey: NDArray[np.uint8], reads: Sequence[Read], roster: Collection[Tag]
    ) -> list[Read]:
        """Labels that this frame, with those before it, is enough to name."""
        self._stream.roster = roster
        return self._stream.look(grey, reads, budget_ms=1e3 * self._seconds)
