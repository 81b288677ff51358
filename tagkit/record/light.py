"""Events as folding needs them, kept by the ten thousand: less than half of what a whole one takes.

Left out are the stored bytes, the signature and what serves the chain. Texts are shared, as the
events of one asset say the same things again and again.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from functools import lru_cache
from typing import Any, Protocol

from tagkit.record.envelope import Event


class Foldable(Protocol):
    """What folding asks of an event; see :class:`tagkit.record.envelope.Event`."""

    @property
    def id(self) -> str:
        """The event's."""
        ...

    @property
    def moment(self) -> str:
        """The event's."""
        ...

    @property
    def by(self) -> str:
        """The event's."""
        ...

    @property
    def kind(self) -> str:
        """The event's."""
        ...

    @property
    def version(self) -> int:
        """The event's."""
        ...

    @property
    def tags(self) -> Sequence[str]:
        """The event's."""
        ...

    @property
    def body(self) -> dict[str, Any]:
        """The event's."""
        ...

    @property
    def voided(self) -> bool:
        """The event's."""
        ...

    @property
    def known(self) -> bool:
        """The event's."""
        ...


class LightEvent:
    """An event with its place in the order; that stays as it is."""

    __slots__ = (
        "body",
        "by",
        "clock",
        "effective",
        "id",
        "kind",
        "known",
        "moment",
        "name",
        "sequence",
        "tags",
        "version",
        "voided",
    )  # fmt: skip

    def __init__(self, event: Event) -> None:
        self.effective = event.effective
        self.clock = event.clock
        self.name = (_same(event.site), _same(event.station), _same(event.epoch))
        self.sequence = event.sequence
        self.id = event.id
        self.moment = event.moment
        self.by = _same(event.by)
        self.kind = _same(event.kind)
        self.version = event.version
        self.tags = tuple(map(_same, event.tags))
        self.body = {_same(name): _shared(value) for name, value in event.body.items()}
        self.voided = event.voided
        self.known = event.known

    def cancelled(self) -> LightEvent:
        """The same, cancelled by another event."""
        other = copy(self)
        other.voided = True
        return other


LONGEST_SHARED = 40
"""Letters; longer texts hardly come twice."""


@lru_cache(8192)
def _same(text: str) -> str:
    """The text that came before, if it is still known: it is kept once for all who have it."""
    return text


def _shared(value: Any) -> Any:
    if type(value) is str:
        return _same(value) if len(value) <= LONGEST_SHARED else value
    if type(value) is dict:
        return {_same(name): _shared(inner) for name, inner in value.items()}
    if type(value) is list:
        return [_shared(inner) for inner in value]
    return value
