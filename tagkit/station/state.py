"""What has been shown and said in one conversation, and nothing that follows from it."""

from __future__ import annotations

from dataclasses import dataclass, field

from tagkit.assets.tag import Tag
from tagkit.station.facts import LoggedChange
from tagkit.station.orders import Answered, ChangeOrder, Destination, Released, UndoOrder
from tagkit.station.words import Line


@dataclass(frozen=True)
class Change:
    """Start one with :func:`tagkit.station.change.begin`."""

    steps: tuple[str, ...] = ()
    stand: str = ""
    truck: Tag | None = None
    battery: Tag | None = None
    shown_out: Tag | None = None  # the battery out, where it was shown or chosen
    nothing_out: bool = False
    out_confirmed: str | None = None  # token of what was confirmed to come out
    charger: Tag | None = None
    place: Destination | None = None
    barred: Tag | None = None  # shown last, and not in the record or not in the fleet any more
    choices: tuple[Tag, ...] = ()  # several of a kind in view
    choices_recovered: frozenset[Tag] = frozenset()
    recovered: frozenset[Tag] = frozenset()  # rest on a recovered read alone
    decoded: frozenset[Tag] = frozenset()
    confirmed_by_hand: tuple[Tag, ...] = ()
    misses: int = 0
    answers: tuple[Answered, ...] = ()
    release: Released | None = None
    discharged_percent: float | None = None
    hours: float | None = None
    undoing: LoggedChange | None = None
    notice: Line | None = field(default=None, compare=False)
    order: ChangeOrder | UndoOrder | None = None
    logged: str = ""  # the event it was logged as

    @property
    def unsure(self) -> frozenset[Tag]:
        """All that rests on a recovered read, what is offered to choose from too."""
        return self.recovered | self.choices_recovered

    @property
    def under_way(self) -> bool:
        """Whether anything has been shown that an undo would take back."""
        if self.logged:
            return False
        shown = (self.truck, self.battery, self.charger, self.barred, self.choices)
        return any((*shown, self.undoing))
