"""Commands that look things up."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any

import typer

from tagkit.cli.options import HERE, AsJson, SiteDir, open_site
from tagkit.cli.show import clock_time, json_out, line, table

Number = Annotated[str, typer.Argument(metavar="TAG", help="The number on its label.")]


def where(tag: Number, site: SiteDir = HERE, as_json: AsJson = False) -> None:
    """Where it is, when it was last charged, and whether it is ready."""
    from tagkit.jobs.whereabouts import where_is

    with open_site(site) as opened:
        found = where_is(opened, tag)
        zone = opened.timezone()
    if as_json:
        json_out(found.to_json())
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
        line("No assets yet. Take a delivery in with “tagkit receive FILE”.")
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


def _nowhere(tag: str) -> str:
    """What has no place of its own is not lost: only a battery's place is asked for."""
    return "not known" if tag.startswith("B") else "none known" if tag[0] in "TC" else ""


def history(
    tag: Number,
    limit: Annotated[int, typer.Option("--limit", min=1, max=100_000, help="How many.")] = 20,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """What happened to an asset, newest first: when, what, who."""
    from tagkit.jobs.assets import asset
    from tagkit.record.words import deed

    with open_site(site) as opened:
        found = asset(opened.record, tag)
        events = opened.record.timeline(found.tag, limit=limit)
        events.sort(key=lambda event: event.happened, reverse=True)
        zone = opened.timezone()
    if as_json:
        json_out({"tag": found.tag, "events": [_event(event) for event in events]})
        return
    table(
        ("when", "what", "by", "station"),
        [
            (
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
