"""Printing cards: commands for the station, badges, and a card for an asset out of service.

Cards are proofed like labels. The record does not keep them: a command is the same for everyone,
a badge says what the authorisation says, an out-of-service card what the hold says.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tagkit.assets.card import CardKind, Command, CommandCard, badge_for
from tagkit.assets.tag import parse_tag
from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.people import last_day_passed, ran_out
from tagkit.jobs.printing import Printed, Progress, check_form, silent, write_and_prove
from tagkit.jobs.site import Site
from tagkit.labels.cards import badge_content, command_content, out_of_service_content
from tagkit.labels.content import LabelContent
from tagkit.rules.times import readable
from tagkit.whole_file import whole_file

_COMMANDS = {"metric": "command-cards-a4", "us": "command-cards-letter"}
_BADGES = {"metric": "badges-a4", "us": "badges-letter"}
BOTH_LANGUAGES = "en+es"
"""An out-of-service card hangs on what may hurt whoever passes: it speaks both, whatever the
site's labels speak, as long as the template has room for both."""
_OUT_OF_SERVICE = {"metric": "out-of-service-a6", "us": "out-of-service-letter"}


def print_command_cards(
    site: Site, out: Path, template: str | None = None, progress: Progress | None = None
) -> Printed:
    """One card for each command of the station."""
    language, name = _language(site), site.settings.site.name
    contents = [
        command_content(CommandCard(site.settings.site.code, command), language, name)
        for command in Command
    ]
    return _print(contents, out, template or _of(site, _COMMANDS), progress)


def print_badges(
    site: Site,
    people: Sequence[str],
    out: Path,
    template: str | None = None,
    progress: Progress | None = None,
) -> Printed:
    """A badge for each of these people, or for everyone whose authorisation runs."""
    known = site.record.people()
    running = [code for code, person in known.items() if not last_day_passed(site, person.until)]
    codes = list(dict.fromkeys(code.strip().upper() for code in people)) or sorted(running)
    if not codes:
        raise NotFound(
            "nobody is authorised at this site", "Record people with “tagkit authorise” first"
        )
    for code in codes:
        if code not in known:
            raise NotFound(
                f"{code} is not recorded at this site", "Record the person with “tagkit authorise”"
            )
        if code not in running:
            raise WrongInput(
                ran_out(site, known[code]),
                "Renew it with “tagkit authorise” first",
            )
    contents = [
        badge_content(
            badge_for(site.settings.site.code, code), known[code].initials, known[code].role,
            known[code].until, _language(site), site.settings.site.name,
        )
        for code in codes
    ]  # fmt: skip
    return _print(contents, out, template or _of(site, _BADGES), progress)


def print_out_of_service(
    site: Site,
    number: str,
    out: Path,
    template: str | None = None,
    progress: Progress | None = None,
) -> Printed:
    """The card for a held asset: why, since when, by whom. WrongInput when nothing holds it."""
    from tagkit.labels.template import load_template

    found = asset(site.record, number)
    if not found.holds:
        raise WrongInput(
            f"{found.tag} is not held", "Hold it first, on its page or with “tagkit hold”"
        )
    chosen = load_template(template or _of(site, _OUT_OF_SERVICE))
    # A safety hold comes first: it says what may hurt, and what it takes to lift it.
    holds = sorted(found.holds, key=lambda held: held["kind"] != "safety")
    content = out_of_service_content(
        parse_tag(found.tag),
        "; ".join(dict.fromkeys(held["reason"] for held in holds)),
        _when(site, min(held["at"] for held in holds)),
        ", ".join(dict.fromkeys(held["by"] for held in holds)),
        holds[0]["kind"] == "safety",
        BOTH_LANGUAGES if BOTH_LANGUAGES in chosen.languages else _language(site),
        site.settings.site.name,
    )
    return _print([content], out, template or _of(site, _OUT_OF_SERVICE), progress)


def check_card(site: Site, out: Path, template: str | None = None) -> None:
    """WrongInput when no out-of-service card could be printed there, whatever is held."""
    from tagkit.labels.template import load_template

    chosen = load_template(template or _of(site, _OUT_OF_SERVICE))
    check_form(out, chosen, 1)
    if CardKind.OUT_OF_SERVICE not in chosen.kinds:
        raise WrongInput(
            f"template {chosen.name} is not for out-of-service cards", "Choose another template"
        )


def _print(
    contents: Sequence[LabelContent],
    out: Path,
    template_name: str,
    progress: Progress | None,
) -> Printed:
    """Lay out, write beside ``out``, prove, then move it into place."""
    from tagkit.labels.layout import lay_out
    from tagkit.labels.template import load_template

    step = progress or silent
    template = load_template(template_name)
    check_form(out, template, len(contents))
    layouts = [lay_out(content, template) for content in contents]
    with whole_file(out) as part:
        symbols, pages = write_and_prove(layouts, template, out.suffix.lower(), part, step)
    return Printed(out, template.name, len(layouts), symbols, pages)


def _of(site: Site, by_units: dict[str, str]) -> str:
    return by_units[site.settings.site.units]


def _language(site: Site) -> str:
    return site.settings.labels.language or site.settings.site.language


def _when(site: Site, moment: str) -> str:
    return readable(moment, site.timezone())
