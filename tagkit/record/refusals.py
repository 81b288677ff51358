"""What is told of events that were not taken in: the first of them in words, and how many."""

from __future__ import annotations

from tagkit.assets.legible import legible

MOST_TOLD = 100
"""Sentences that are kept: whoever writes nonsense by the million must not fill the memory."""

LONGEST_TOLD = 300
"""Letters of one sentence: what it quotes was written by somebody else."""


class Refusals(list[str]):
    """A sentence for each event that was refused, the first so many of them; ``in_all`` counts
    every one."""

    def __init__(self) -> None:
        super().__init__()
        self.in_all = 0

    def append(self, sentence: str) -> None:
        """One more; what it quotes can't break the line or steer a terminal."""
        self.in_all += 1
        if len(self) < MOST_TOLD:
            super().append(" ".join(legible(sentence[: 4 * LONGEST_TOLD]).split())[:LONGEST_TOLD])

    def add(self, others: Refusals) -> None:
        """Those of somewhere else as well."""
        in_all = self.in_all + others.in_all
        for sentence in others:
            self.append(sentence)
        self.in_all = in_all

    def told(self) -> tuple[str, ...]:
        """The sentences, with one on those that are not among them."""
        rest = self.in_all - len(self)
        return (*self, *([f"{rest:,} more events were refused."] if rest else ()))
