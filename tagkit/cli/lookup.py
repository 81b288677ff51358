"""Commands that look things up."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import HERE, AsJson, SiteDir, open_site
from tagkit.cli.show import clock_time, json_out, line, table
from tagkit.errors import NotFound

if TYPE_CHECKING:
    from tagkit.jobs.site import Site
    from tagkit.jobs.whereabouts import Whereabouts

Number = Annotated[str, typer.Argument(metavar="TAG", help="The number on its label, or what only it is "
                                     "called: fleet number, bay, maker's serial.")]  # fmt: skip


def where(tag: Number, site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """Where it is, when it was last charged, and whether it is ready.

    Example: tagkit where B-QM-00417-D
    """
    from tagkit.jobs.whereabouts import where_is

    with open_site(site) as opened:
        zone = opened.timezone()
        tag = number_of(opened, tag, as_json)
        try:
            found, source = where_is(opened, tag), told_by(opened, tag)
        except NotFound:
            from tagkit.jobs.exchange import address_for

            if address_for(opened) is None:
                raise
            found, source = ask_exchange(opened, tag)
    if as_json:
        json_out(found.to_json() | source)
        return
    line(f"{found.tag}{f' ({found.known_as})' if found.known_as else ''}", style="bold")
    battery = found.tag.startswith("B")
    if battery or found.place:
        since = f", since {clock_time(found.since, zone)}" if found.since else ""
        line(f"  where         {found.place or 'not known'}{since}", hang=16)
    reasons = f": {'; '.join(found.reasons)}" if found.reasons else ""
    line(f"  state         {found.state}{reasons}", hang=16)
    if found.tag.startswith(("T", "C")):
        line(f"  battery       {', '.join(found.holds) or 'none known'}", hang=16)
    if battery:
        line(f"  last charged  {clock_time(found.last_charged_at, zone)}")
    if found.tag.startswith(("B", "T")):
        line(f"  last change   {clock_time(found.last_changed_at, zone)}")
    if source:
        line(
            f"  as of         {clock_time(source['as_of'], zone)}, told by site {source['told_by']}"
        )


def told_by(site: Site, tag: str) -> dict[str, str | None]:
    """Who told the last of an asset and when, if another site did."""
    from tagkit.jobs.assets import asset
    from tagkit.jobs.told import told_elsewhere

    told = told_elsewhere(site, asset(site.record, tag))
    return {"told_by": told[0], "as_of": told[1]} if told else {}


def ask_exchange(site: Site, tag: str) -> tuple[Whereabouts, dict[str, str | None]]:
    """What the exchange says of an asset that this site's record does not know."""
    from tagkit.jobs.exchange import where_elsewhere

    there = where_elsewhere(site, tag)
    as_of = there.as_of.isoformat() if there.as_of else None
    return there.found, {"told_by": there.told_by, "as_of": as_of}


def list_assets(
    kind: Annotated[
        str | None,
        typer.Option("--kind", help="battery, truck, charger, lifting or room."),
    ] = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Every asset of the site with its place and state."""
    from tagkit.jobs.assets import kind_named
    from tagkit.jobs.whereabouts import whereabouts_of

    with open_site(site) as opened:
        wanted = kind_named(kind) if kind else None
        rows = [whereabouts_of(opened, state) for state in opened.record.states(wanted)]
        zone = opened.timezone()
    if as_json:
        json_out({"assets": [row.to_json() for row in rows]})
        return
    if not rows:
        what = "assets" if wanted is None else _PLURALS[wanted.value]
        line(f"No {what} yet. Take a delivery in with “tagkit receive FILE”.")
        return
    table(
        ("number", "known as", "state", "place or battery", "last charged"),
        [
            (
                row.tag,
                row.known_as or "",
                row.state,
                row.place or ", ".join(row.holds) or _nowhere(row.tag),
                clock_time(row.last_charged_at, zone) if row.tag.startswith("B") else "",
            )
            for row in rows
        ],
    )


_PLURALS = {
    "B": "batteries", "T": "trucks", "C": "chargers", "L": "lifting gear", "R": "room equipment",
}  # fmt: skip


def _nowhere(tag: str) -> str:
    """What has no place of its own is not lost: only a battery's place is asked for."""
    return "not known" if tag.startswith("B") else "none known" if tag[0] in "TC" else ""


def history(
    tag: Number,
    limit: Annotated[int, typer.Option("--limit", min=1, max=100_000, help="How many.")] = 20,
    ids: Annotated[
        bool, typer.Option("--ids", help="The id of each entry too, as “tagkit void” takes it.")
    ] = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """What happened to an asset, newest first: when, what, who.

    Example: tagkit history B-QM-00417-D
    """
    from tagkit.jobs.assets import asset
    from tagkit.record.words import deed

    with open_site(site) as opened:
        found = asset(opened.record, number_of(opened, tag, as_json))
        events = opened.record.timeline(found.tag, limit=limit)
        events.sort(key=lambda event: event.happened, reverse=True)
        zone = opened.timezone()
    if as_json:
        json_out({"tag": found.tag, "events": [_event(event) for event in events]})
        return
    table(
        (*(("id",) if ids else ()), "when", "what", "by", "station"),
        [
            (
                *((event.id,) if ids else ()),
                clock_time(event.happened_at, zone),
                f"{deed(event)}{' (cancelled)' if event.voided else ''}",
                event.by,
                event.station,
            )
            for event in events
        ],
    )


def _event(event: Any) -> dict[str, Any]:
    return {
        "id": event.id,
        "kind": event.kind,
        "happened_at": event.happened_at,
        "recorded_at": event.recorded_at,
        "by": event.by,
        "station": event.station,
        "tags": list(event.tags),
        "body": event.body,
        "cancelled": event.voided,
    }


def contradictions(site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """What the record says twice and differently: the lead's list."""
    with open_site(site) as opened:
        found = opened.record.contradictions()
    if as_json:
        json_out({"contradictions": [dataclasses.asdict(entry) for entry in found]})
        return
    if not found:
        line("Nothing contradicts itself.")
    for entry in found:
        line(f"{entry.kind}: {entry.text}. {entry.remedy}.", hang=2)
