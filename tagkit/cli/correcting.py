"""Commands that correct the record; nothing is ever deleted from it."""

from __future__ import annotations

from typing import Annotated

import typer

from tagkit.cli.named import number_of
from tagkit.cli.options import (
    HERE,
    Answer,
    AsJson,
    At,
    By,
    Number,
    SiteDir,
    Station,
    entry,
    open_site,
)
from tagkit.cli.show import json_out, label_note, line
from tagkit.errors import WrongInput


def amend(
    tag: Number,
    reason: Annotated[str, typer.Option("--reason", help="Why it was wrong.")],
    second: Annotated[
        str, typer.Option("--second", metavar="CODE", help="The second person, who checked it.")
    ],
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="FIELD=VALUE", help="Like weight=\"1180 kg\"; may be repeated."),
    ] = None,
    unknown: Annotated[
        list[str] | None, typer.Option("--unset", metavar="FIELD", help="Make it unknown again.")
    ] = None,
    source: Annotated[
        str | None,
        typer.Option("--source", help="stamped, weighed, nameplate or catalogue."),
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Correct figures of an asset, with a reason and a second authorised person.

    Example: tagkit amend B-QM-00417-D --set "weight=1186 kg" --reason "stamp misread" --second JT --by SW
    """
    from tagkit.assets.stated import Source
    from tagkit.jobs.assets import asset
    from tagkit.jobs.correct import amend as log_amended
    from tagkit.jobs.label_behind import label_says
    from tagkit.record.plate_words import changed_words

    wanted: dict[str, str | None] = dict.fromkeys(unknown or [])
    for change in changes or []:
        field, equals, value = change.partition("=")
        if not equals:
            raise WrongInput(f"“{change}” has no =", "Write FIELD=VALUE", "--set")
        wanted[field] = value
    try:
        origin = Source(source) if source else None
    except ValueError:
        names = ", ".join(known.value for known in Source)
        raise WrongInput(f"“{source}” is not a source", f"One of: {names}", "--source") from None
    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        event = log_amended(
            opened,
            tag,
            wanted,
            reason,
            second,
            source=origin,
            **entry(opened, by, station, at),
            answer=answer,
        )
        says = label_says(asset(opened.record, event.tags[0]))
    if as_json:
        json_out(
            {"event": event.id, "asset": event.tags[0], **event.body, "label_says": list(says)}
        )
    else:
        told = changed_words(event.tags[0], event.body["changes"], event.body["before"])
        line(f"{event.tags[0]} is amended: {'; '.join(told)}. Check the fit again.")
        label_note(event.tags[0], says)


def retire(
    tag: Number,
    reason: Annotated[str | None, typer.Option("--reason", help="Why it leaves.")] = None,
    receipt: Annotated[
        str | None, typer.Option("--receipt", help="The recycler's receipt; may be added later.")
    ] = None,
    papers: Annotated[
        str | None,
        typer.Option("--papers", help="Transport papers; filled lead-acid goes as UN 2794."),
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Take an asset out of the fleet. Its number is never used again.

    Example: tagkit retire B-QM-00417-D --reason "capacity 61 %" --receipt "2031/118"
    """
    from tagkit.jobs.correct import retire as log_retired
    from tagkit.jobs.whereabouts import where_is

    with open_site(site) as opened:
        tag = number_of(opened, tag, as_json)
        stood = where_is(opened, tag)
        event = log_retired(
            opened,
            tag,
            reason,
            receipt,
            papers,
            **entry(opened, by, station, at),
        )
    if as_json:
        json_out({"event": event.id, "asset": event.tags[0], **event.body})
        return
    line(
        f"{event.tags[0]} is retired. Take its labels off; hand acid batteries to a licensed recycler."
    )
    if stood.place and stood.tag.startswith("B"):
        line(f"! By the record it was last {stood.place}: see that nobody uses it there.",
             style="bold", hang=2)  # fmt: skip
    if stood.holds:
        line(f"! By the record it holds {', '.join(stood.holds)}: record where that is now, with "
             "“tagkit seen”.", style="bold", hang=2)  # fmt: skip
    if event.tags[0].startswith("B") and not event.body["receipt"]:
        line(
            "The recycler's receipt is still to come: "
            f"tagkit retire {event.tags[0]} --receipt NUMBER."
        )
