"""Looking at a source: every label that is shown in it, once each time it is shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.errors import TagkitError

if TYPE_CHECKING:
    from tagkit.assets.tag import Tag
    from tagkit.jobs.site import Site
    from tagkit.reader.read import Read
    from tagkit.reader.sources import Frame


@dataclass(frozen=True)
class Look:
    """What a picture, or one frame of a video, newly showed.

    ``labels`` are ours; several of one kind among them are a choice for a person. ``foreign``
    are codes that are not ours. ``in_view`` are all numbers in view, shown before or now.
    """

    frame: Frame
    labels: tuple[Read, ...]
    foreign: tuple[Read, ...]
    in_view: tuple[Tag, ...] = ()


def looks(
    source: str | int,
    trouble: Callable[[TagkitError], None] | None = None,
    *,
    site: Site | None = None,
) -> Iterator[Look]:
    """Look at a picture, folder, video, stream (str) or camera (int), frame by frame.

    Every frame gives a Look, also an empty one, so that the caller can attend to other things.
    ``trouble`` is told about pictures of a folder that can't be read and videos that break off.
    ``site``: labels beyond decoding are identified among those of this site; without it they
    stay unread.
    """
    from tagkit.jobs.roster import roster_of
    from tagkit.reader.read import read_picture
    from tagkit.reader.sources import open_source
    from tagkit.reader.tracking import Tracker
    from tagkit.reader.watching import Watch

    with open_source(source) as frames:
        watch, tracker = Watch(), Tracker()
        for frame in frames:
            if frame.still:
                reads = read_picture(frame.picture, roster_of(site) if site else None)
                yield Look(
                    frame,
                    tuple(one for one in reads if one.tag),
                    tuple(one for one in reads if one.tag is None),
                )
                continue
            if site:
                watch.roster = roster_of(site)
            sighting = tracker.update(watch.read(frame.picture), frame.at)
            labels = [one for choice in sighting.choices for one in choice.reads]
            labels += [one for one in sighting.seen if one not in labels]
            yield Look(frame, tuple(labels), sighting.foreign, sighting.in_view)
        for told in frames.troubles:
            if trouble:
                trouble(told)
