"""The out-of-service card that goes with every hold: made at once, in the site's own folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs import cards
from tagkit.jobs.printing import Printed, Progress
from tagkit.jobs.site import Site

PRINTS = "prints"
"""Folder of the site for what it prints by itself; a card made before is replaced."""


@dataclass(frozen=True)
class HoldCard:
    """The card of a held asset, or why there is none: the hold stands either way."""

    asset: str
    printed: Printed | None
    trouble: TagkitError | None = None

    def to_json(self) -> dict[str, Any] | None:
        """As commands print it; None without a card."""
        return self.printed.to_json() if self.printed else None

    @property
    def words(self) -> str:
        """What to do now."""
        if self.printed is not None:
            return (
                f"Its out-of-service card is in {self.printed.file}: tie it where everyone sees it, and "
                "keep it apart."
            )
        return (
            f"{self.asset} is held, but its card was not printed: {self.trouble} Print it with "
            f"“tagkit out-of-service {self.asset} --out FILE”, and keep it apart."
        )


def card_path(site: Site, tag: str) -> Path:
    """Where the card of an asset is put."""
    return site.directory / PRINTS / f"out-of-service-{tag}.pdf"


def card_for_hold(
    site: Site,
    tag: str,
    out: Path | None = None,
    template: str | None = None,
    progress: Progress | None = None,
) -> HoldCard:
    """Prints the card of what was just held, to ``out`` or into the site's folder.

    Nothing that goes wrong with it takes the hold back: it is told in ``trouble``.
    """
    path = out or card_path(site, tag)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return HoldCard(tag, cards.print_out_of_service(site, tag, path, template, progress))
    except TagkitError as error:
        return HoldCard(tag, None, error)
    except OSError as error:
        trouble = WrongInput(f"{path} can't be written ({error.strerror or error})")
        return HoldCard(tag, None, trouble)
