"""What can be on a label: the registered tags as they were printed, as matrices to match with.

The record knows of each label its payload, version, level and mask. Where only tags are known,
the site's payload form at level H with the mask of least penalty is assumed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tagkit.assets.payload import PayloadStyle, payload_for
from tagkit.assets.tag import Kind, Tag, can_issue, tag_for
from tagkit.reader.recovery.expected import symbols
from tagkit.symbol.encode import encode
from tagkit.symbol.tables import Level, size_of

_SAMPLED_TAGS = 48
MOST_FORMS = 32


class Label(Protocol):
    """What recovery needs to know of a printed label (labels.layout.PrintedLabel has it)."""

    @property
    def tag(self) -> Tag: ...
    @property
    def payload(self) -> str: ...
    @property
    def version(self) -> int: ...
    @property
    def level(self) -> Level: ...
    @property
    def mask(self) -> int: ...


@dataclass(frozen=True)
class Variant:
    """One symbol that was printed."""

    tag: Tag
    payload: str
    version: int
    level: Level
    mask: int


@dataclass(frozen=True, eq=False)
class Family:
    """Labels whose symbols differ by the tag alone: same version, level, mask, payload around it.

    ``informative`` are the modules (flat, row by row) that depend on the tag: those that differ
    among tags of the site that can be issued, whether registered or not. ``signs`` is
    (variants, informative) with +1 for dark and -1 for light; ``constant`` is the whole symbol
    (size²) as signs, 0 where a module is informative.
    """

    version: int
    level: Level
    mask: int
    before: str
    after: str
    site: str
    digits: int
    variants: tuple[Variant, ...]
    informative: NDArray[np.intp]
    constant: NDArray[np.int8]
    signs: NDArray[np.float32] = field(repr=False)

    @property
    def size(self) -> int:
        """Modules along one side."""
        return size_of(self.version)

    def signs_of(self, payloads: Sequence[str]) -> NDArray[np.float32]:
        """Expected signs of other payloads of the family at the informative modules."""
        dark = symbols(payloads, self.version, self.level, self.mask)
        return np.where(dark[:, self.informative], np.float32(1), np.float32(-1))


@dataclass(frozen=True, eq=False)
class Form:
    """What all labels of one or several families share: ``constant`` (size²) as of Family."""

    size: int
    constant: NDArray[np.int8]


class Roster(Collection[Tag]):
    """The registered tags and every variant of their labels."""

    def __init__(self, labels: Iterable[Label]) -> None:
        self._variants = tuple(dict.fromkeys(
            Variant(one.tag, one.payload, one.version, one.level, one.mask) for one in labels
        ))  # fmt: skip
        self._tags = frozenset(one.tag for one in self._variants)

    @classmethod
    def of_tags(
        cls, tags: Iterable[Tag], style: PayloadStyle | None = None, level: Level = "H"
    ) -> Roster:
        """The roster when nothing is known about the labels but the site's payload form."""
        style = style or PayloadStyle()
        labels = []
        for tag in dict.fromkeys(tags):
            symbol = encode(payload_for(tag, style), level)
            labels.append(Variant(tag, symbol.payload, symbol.version, level, symbol.mask))
        return cls(labels)

    def __contains__(self, tag: object) -> bool:
        return tag in self._tags

    def __iter__(self):  # type: ignore[no-untyped-def]
        return iter(self._tags)

    def __len__(self) -> int:
        return len(self._tags)

    @property
    def variants(self) -> tuple[Variant, ...]:
        """Every symbol that may be found."""
        return self._variants

    @cached_property
    def families(self) -> tuple[Family, ...]:
        """The variants, grouped (made on first use: about 0.1 ms a label)."""
        groups: dict[tuple[int, Level, int, str, str, str, int], list[Variant]] = defaultdict(list)
        for one in self._variants:
            before, found, after = one.payload.partition(str(one.tag))
            if found:
                digits = len(f"{one.tag.serial:05d}")
                key = (one.version, one.level, one.mask, before, after, one.tag.site, digits)
                groups[key].append(one)
        return tuple(_family(*key, tuple(members)) for key, members in groups.items())

    @cached_property
    def forms(self) -> tuple[Form, ...]:
        """The forms of the labels, those of most labels first, at most ``MOST_FORMS``."""
        most = sorted(self.families, key=lambda family: -len(family.variants))[:MOST_FORMS]
        return tuple(self.form_of(family) for family in most)

    def families_of(self, forms: Sequence[Form]) -> tuple[Family, ...]:
        """Families that have one of these forms, and those that ``forms`` has no room for."""
        asked = {id(form) for form in forms}
        all_forms = {id(form) for form in self.forms}
        return tuple(
            family for family in self.families
            if id(self.form_of(family)) in asked or id(self.form_of(family)) not in all_forms
        )  # fmt: skip

    @staticmethod
    def form_of(family: Family) -> Form:
        """What the labels of a family share."""
        return _form(family)

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """Modules along one side of the symbols that may be found."""
        return tuple(sorted({family.size for family in self.families}))


@lru_cache(maxsize=256)
def _form(family: Family) -> Form:
    return Form(family.size, family.constant)


def _family(
    version: int, level: Level, mask: int, before: str, after: str, site: str, digits: int,
    variants: tuple[Variant, ...],
) -> Family:  # fmt: skip
    sampled = symbols(
        [f"{before}{tag}{after}" for tag in _sample(site, digits)], version, level, mask
    )
    informative = np.flatnonzero(np.any(sampled != sampled[0], axis=0))
    constant = np.where(sampled[0], 1, -1).astype(np.int8)
    constant[informative] = 0
    dark = symbols([one.payload for one in variants], version, level, mask)[:, informative]
    signs = np.where(dark, np.float32(1), np.float32(-1))
    return Family(version, level, mask, before, after, site, digits, variants, informative,
                  constant, signs)  # fmt: skip


def _sample(site: str, digits: int) -> list[Tag]:
    """Tags of any kind that can be issued at a site, drawn once and for all."""
    rng = np.random.default_rng(18004)
    kinds = list(Kind)
    low = 1 if digits == 5 else 10 ** (digits - 1)
    tags: list[Tag] = []
    while len(tags) < _SAMPLED_TAGS:
        kind, serial = kinds[int(rng.integers(len(kinds)))], int(rng.integers(low, 10**digits))
        if can_issue(kind, site, serial):
            tags.append(tag_for(kind, site, serial))
    return tags
