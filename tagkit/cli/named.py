"""Numbers as people type them: also a fleet number, a bay, a maker's serial.

What a name was taken for is always said, because it has no check character: with the answer in
text, on standard error beside JSON, whose numbers say it themselves.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from tagkit.cli.show import line

if TYPE_CHECKING:
    from tagkit.assets.tag import Kind
    from tagkit.jobs.site import Site


def number_of(site: Site, words: str, as_json: bool, *kinds: Kind) -> str:
    """The number that ``words`` stand for; see :func:`tagkit.jobs.assets.meant`."""
    from tagkit.jobs.assets import meant

    found = meant(site.record, words, *kinds)
    if found.name is not None:
        said = f"“{found.name}” is taken for {found.tag.kind.noun} {found.tag}."
        if as_json:
            sys.stderr.write(f"{said}\n")
        else:
            line(said, style="bold")
    return str(found.tag)


def place_of(site: Site, words: str, as_json: bool) -> str:
    """The same for a place, which may be mere words: those that nothing is called by stay."""
    from tagkit.assets.tag import Kind

    called = [one for one in site.record.called(words) if one.kind in (Kind.TRUCK.value, "C")]
    return number_of(site, words, as_json, Kind.TRUCK, Kind.CHARGER) if called else words
