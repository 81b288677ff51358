"""What a label in service still says although the record knows better, until it is printed anew."""

from __future__ import annotations

from tagkit.assets.on_label import shown, to_be_confirmed
from tagkit.record.plate_words import UNKNOWN, label_of, value_words
from tagkit.record.state import AssetState


def label_says(state: AssetState) -> tuple[str, ...]:
    """Each figure that its label has otherwise: what is printed and what is so; none: it is
    right, or there is no label."""
    figures, remarks = [], []
    for name, printed in state.label_behind.items():
        now, what = state.nameplate.get(name), label_of(state.tag, name)
        if printed and now and _figure(name, printed) == _figure(name, now):
            if to_be_confirmed(name, printed):
                remarks.append(what)
            else:
                figures.append(f"{what} without “to be confirmed”")
        else:
            was = value_words(state.tag, name, printed) if printed else UNKNOWN
            right = value_words(state.tag, name, now) if now else UNKNOWN
            figures.append(f"{what}: {was} ({right} on record)")
    if remarks:
        figures.append(f"“to be confirmed” beside {', '.join(remarks)}")
    return tuple(figures)


def misleads(state: AssetState) -> bool:
    """Whether it has another figure, not merely a remark that is no longer due."""
    return any(
        _figure(name, printed) != _figure(name, state.nameplate.get(name))
        for name, printed in state.label_behind.items()
    )


def _figure(name: str, fact: object) -> object:
    seen = shown(name, fact)
    return seen and seen[0]
