"""Printing labels: from the record to a proofed file, and back into the record."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from tagkit.assets.card import CardKind
from tagkit.assets.payload import payload_for
from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset, plate
from tagkit.jobs.site import Site
from tagkit.whole_file import beside

if TYPE_CHECKING:
    from tagkit.labels.layout import Layout
    from tagkit.labels.template import Template
    from tagkit.record.state import AssetState

Progress = Callable[[str, int, int], None]


def silent(_what: str, _done: int, _total: int) -> None:
    """Progress that nobody watches."""


_DEFAULT_TEMPLATE = {"metric": "sheet-a4", "us": "sheet-letter"}


@dataclass(frozen=True)
class Printed:
    """The file and what is in it."""

    file: Path
    template: str
    labels: int
    symbols: int
    pages: int

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "file": str(self.file),
            "template": self.template,
            "labels": self.labels,
            "symbols_read_back": self.symbols,
            "pages": self.pages,
        }


def list_templates() -> list[tuple[str, str]]:
    """Name and purpose of every template that comes with tagkit."""
    from tagkit.labels.template import templates

    return templates()


def check_template(site: Site, name: str | None) -> Template:
    """The template that would be used; WrongInput when there is none of that name."""
    from tagkit.labels.template import load_template

    return load_template(name or _DEFAULT_TEMPLATE[site.settings.site.units])


@cache
def offered_templates() -> tuple[tuple[str, str], ...]:
    """Name and purpose of those for labels of assets; cards have theirs. They come with the
    program and are read once."""
    from tagkit.labels.template import shipped_template

    return tuple(
        (name, what)
        for name, what in list_templates()
        if not all(isinstance(kind, CardKind) for kind in shipped_template(name).kinds)
    )


def offered_template(site: Site, name: str | None) -> Template:
    """The same for a page: of those that come with tagkit, never a file that somebody names."""
    from tagkit.labels.template import shipped_template

    return shipped_template(name or _DEFAULT_TEMPLATE[site.settings.site.units])


def print_labels(
    site: Site,
    numbers: Sequence[str],
    out: Path,
    template_name: str | None = None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    progress: Progress | None = None,
) -> Printed:
    """Print one label for each number, in this order, into ``out`` (.pdf, .svg or .png).

    The file appears whole and proofed, or not at all; the record then knows for each label
    what was printed. Raises WrongInput for a bad template or an asset that does not go on it.
    """
    step = progress or silent
    template = check_template(site, template_name)
    check_form(out, template, len(set(numbers)))
    layouts = lay_out_labels(site, numbers, template, step)
    part = beside(out)
    # A killed run leaves nothing beside the file: it is written and proofed elsewhere, and only
    # moved here for the moment in which it is recorded.
    with TemporaryDirectory(prefix="tagkit-", ignore_cleanup_errors=True) as folder:
        work = Path(folder) / out.name
        symbols, pages = write_and_prove(layouts, template, out.suffix.lower(), work, step)
        try:
            shutil.copyfile(work, part)
            _record_and_keep(site, layouts, part, out, by, station, at)
        finally:
            part.unlink(missing_ok=True)
    return Printed(out, template.name, len(layouts), symbols, pages)


def lay_out_labels(
    site: Site, numbers: Sequence[str], template: Template, step: Progress = silent
) -> list[Layout]:
    """The next revision of each label; WrongInput for one that does not go on the template."""
    states = [asset(site.record, parse_tag(number)) for number in dict.fromkeys(numbers)]
    for state in states:
        if state.retired_at:
            raise WrongInput(f"{state.tag} is retired", "Leave it out")
    layouts = []
    for number, state in enumerate(states, start=1):
        layouts.append(lay_out_label(site, state, template))
        step("laying out", number, len(states))
    return layouts


def check_form(out: Path, template: Template, labels: int) -> None:
    """WrongInput when so many labels can't be written in the form the name of ``out`` asks for."""
    suffix = out.suffix.lower()
    room = {".pdf": labels, ".svg": 1, ".png": template.labels_on_page}.get(suffix)
    if room is None:
        raise WrongInput(
            f"labels can't be written as “{out.suffix}”",
            "Name a file ending in .pdf, .svg or .png",
            str(out),
        )
    if labels > room:
        holds = "one label" if suffix == ".svg" else "one page"
        raise WrongInput(
            f"a {suffix} file holds {holds}, and {labels} labels are to be written",
            "Name a file ending in .pdf, or write them one by one",
            str(out),
        )


def lay_out_label(site: Site, state: AssetState, template: Template) -> Layout:
    """The next revision of one label."""
    from tagkit.labels.content import content_for
    from tagkit.labels.layout import lay_out

    tag = parse_tag(state.tag)
    content = content_for(
        Kind(state.kind),
        tag,
        plate(state),
        payload_for(tag, site.settings.payload_style()),
        site.settings.labels.language or site.settings.site.language,
        site.settings.site.name,
        revision=state.label_revision + 1,
        unloading=None if state.as_stamped else state.unloading,
    )
    return lay_out(content, template)


def write_and_prove(
    layouts: list[Layout], template: Template, suffix: str, part: Path, step: Progress
) -> tuple[int, int]:
    """Write the file and read every symbol back; gives how many symbols on how many pages.

    PDF and PNG are read back from their own pixels; of an SVG the same drawing is, as a PDF.
    """
    from tagkit.jobs.proof import prove
    from tagkit.labels.pdf import placements, write_pdf
    from tagkit.labels.png import png_pages
    from tagkit.labels.raster import render_pages
    from tagkit.labels.svg import svg_label
    from tagkit.reader.pictures import pictures_in_bytes

    if suffix == ".png":
        data = next(png_pages(layouts, template))
        part.write_bytes(data)
        pages = pictures_in_bytes(data, part.name)
    else:
        write_pdf(
            layouts, template, part, progress=lambda done, total: step("writing", done, total)
        )
        pages = render_pages(part.read_bytes(), template.dpi)
    proof = prove(pages, placements(layouts, template), template.dpi, step)
    if suffix == ".svg":
        part.write_text(svg_label(layouts[0], template), encoding="utf-8", newline="\n")
    return proof.symbols, proof.pages


def _record_and_keep(
    site: Site,
    layouts: list[Layout],
    part: Path,
    out: Path,
    by: str,
    station: str,
    at: datetime | None,
) -> None:
    """Record what was printed and move the file into place, both or neither."""
    with site.record.writing(by=by, station=station, at=at) as writing:
        for layout in layouts:
            label = layout.printed
            writing.append(
                "label_printed",
                [str(label.tag)],
                {
                    "labels": [
                        {
                            "tag": str(label.tag),
                            "template": label.template,
                            "revision": label.revision,
                            "payload": label.payload,
                            "version": label.version,
                            "level": label.level,
                            "mask": label.mask,
                        }
                    ]
                },
            )
        part.replace(out)
