"""Commands of delivery day: receive, marry, labels."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tagkit.cli.options import (
    HERE,
    Answer,
    AsJson,
    At,
    By,
    Force,
    SiteDir,
    Station,
    entry,
    free_to_write,
    open_site,
)
from tagkit.cli.progress import progress
from tagkit.cli.show import json_out, label_note, line, plural, problem, table
from tagkit.errors import Exit, TagkitError, WrongInput

if TYPE_CHECKING:
    from tagkit.intake.delivery import Rejected
    from tagkit.jobs.receive import Received

Template = Annotated[
    str | None,
    typer.Option("--template", metavar="NAME", help="A template's name, or a .toml of your own; "
                 "“list” shows them."),
]  # fmt: skip


def receive(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX of the delivery.")],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would happen; change nothing.")
    ] = False,
    keep_good: Annotated[
        bool,
        typer.Option("--keep-good", help="Take the good rows, write the bad ones to a file to mend."),
    ] = False,
    as_stamped: Annotated[
        bool,
        typer.Option("--as-stamped", help="The sheet was copied from cases and nameplates of a "
                     "fleet in use: no marrying is due."),
    ] = False,
    labels_to: Annotated[
        Path | None, typer.Option("--labels", metavar="OUT.pdf", help="Print the labels too.")
    ] = None,
    template: Template = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="What the rows are, if the sheet does not say.")
    ] = None,
    decimal: Annotated[
        str | None, typer.Option("--decimal", help="comma or point: how the sheet writes numbers.")
    ] = None,
    worksheet: Annotated[
        str | None, typer.Option("--worksheet", metavar="NAME", help="Which one of an XLSX file.")
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="COLUMN", help="Header or letter of a column that is not "
                     "to be read, as where two state the same; may be repeated."),
    ] = None,
    rest: Annotated[
        Path | None, typer.Option("--rest", metavar="FILE", help="Where --keep-good writes bad rows.")
    ] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Take a delivery in: rows become assets with numbers, and labels in unloading order.

    The headers say what a column is: serial, voltage, weight (kg) …, in English, German or
    Spanish; a column “Kind” says battery, truck, charger or lifting gear where rows differ.

    All or nothing, unless --keep-good. Everything that is wrong is listed with row and column.

    Example: tagkit receive delivery.xlsx --dry-run
    """
    from tagkit.jobs.assets import kind_named
    from tagkit.jobs.printing import check_form, check_template, lay_out_labels, print_labels
    from tagkit.jobs.receive import Taken
    from tagkit.jobs.receive import receive as take_in

    if decimal not in (None, "comma", "point"):
        raise WrongInput(f"“{decimal}” is not a decimal mark", "Write comma or point", "--decimal")
    if labels_to is not None:
        free_to_write(labels_to, force)
    with open_site(site) as opened:
        sheet = check_template(opened, template) if labels_to is not None else None
        if sheet is not None and labels_to is not None:
            check_form(labels_to, sheet, labels=1)

        def check_labels(taken: tuple[Taken, ...]) -> None:
            """A label that its template can't hold stops the delivery before it is taken in."""
            if sheet is not None and labels_to is not None:
                check_form(labels_to, sheet, len(taken))
                lay_out_labels(opened, [str(row.tag) for row in taken], sheet)

        entered = entry(opened, by, station, at)
        received = take_in(
            opened,
            file,
            **entered,
            dry_run=dry_run,
            keep_good=keep_good,
            as_stamped=as_stamped,
            kind=kind_named(kind) if kind else None,
            decimal_mark=decimal,  # type: ignore[arg-type]
            worksheet=worksheet,
            leave_out=leave_out or (),
            mending_file=rest,
            force=force,
            before_commit=check_labels,
        )
        printed, not_printed = None, ""
        if labels_to is not None and received.taken and not dry_run:
            try:
                with progress(as_json) as step:
                    printed = print_labels(
                        opened,
                        [str(row.tag) for row in received.taken],
                        labels_to,
                        template,
                        **entered,
                        progress=step,
                    )
            except (TagkitError, OSError) as error:
                not_printed = str(error)
            except KeyboardInterrupt:
                not_printed = "interrupted."
    if as_json:
        json_out(
            {
                "taken": [row.to_json() for row in received.taken],
                "rejected": [row.to_json() for row in received.rejected],
                "warnings": list(received.warnings),
                "ignored": list(received.ignored),
                "dry_run": dry_run,
                "labels": printed.to_json() if printed else None,
                "rest": str(received.mending_file) if received.mending_file else None,
                "labels_problem": not_printed or None,
            }
        )
    else:
        _report(received)
        if printed:
            line(f"Labels: {printed.file}, {plural(printed.labels, 'label')} on "
                 f"{plural(printed.pages, 'page')}, each read back from pixels.")  # fmt: skip
    if not_printed:
        problem(
            f"the delivery is taken in, but its labels are not printed: {not_printed} Print them "
            "with “tagkit labels”."
        )
        raise typer.Exit(Exit.PART_TAKEN)
    raise typer.Exit(received.exit_code())


def _report(received: Received) -> None:
    to_mend = len({row.row for row in received.rejected})  # a row may have several mistakes
    for note in received.ignored:
        line(f"passed over  {note}", hang=13)
    for note in received.told:
        line(f"warning      {note}", style="yellow", hang=13)
    for said in _rejections(received.rejected):
        line(f"REJECTED     {said}", style="bold red", hang=13)
    if received.taken:
        table(
            ("row", "number", "kind", "serial or fleet number"),
            [
                (
                    str(row.row),
                    str(row.tag) if row.tag else "(dry run)",
                    row.kind.noun,
                    row.maker_serial or row.fleet_number or "",
                )
                for row in received.taken
            ],
        )
    if received.dry_run:
        line(f"Dry run: {plural(received.would_take, 'row')} good, {to_mend} to mend; nothing was "
             "changed.")  # fmt: skip
    elif received.taken:
        line(f"{len(received.taken)} taken in, in unloading order.", style="bold")
        if not received.as_stamped:
            _say_marrying(received)
            line("Until then every verdict on them is “not confirmed”.")
    elif received.rejected:
        line(f"Nothing was taken: {plural(to_mend, 'row')} to mend"
             + (f", {received.would_take} are good (--keep-good takes those)." if received.would_take
                else "."), style="bold")  # fmt: skip
    else:
        line("The sheet has no rows to take.")
    if received.mending_file:
        line(f"The rows to mend are in {received.mending_file}; take it in again when mended.")


def _rejections(rejected: Sequence[Rejected]) -> list[str]:
    """What is wrong, each once, with all the rows that it is wrong in."""
    rows: dict[tuple[str, str, str], list[int]] = {}
    for one in rejected:
        rows.setdefault((one.column, one.problem, one.remedy), []).append(one.row)
    return [
        f"{_rows(numbers)}{f', {column}' if column else ''}: {problem}. {remedy}."
        for (column, problem, remedy), numbers in rows.items()
    ]


def _rows(numbers: Sequence[int]) -> str:
    """“row 6”, “rows 6 to 9, 11”."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    told = ", ".join(
        str(first) if first == last else f"{first}{' to ' if last - first > 1 else ', '}{last}"
        for first, last in runs
    )
    return f"row{'s' if len(set(numbers)) > 1 else ''} {told}"


def _say_marrying(received: Received) -> None:
    """What is to be keyed in next, with the options that the kinds taken in need."""
    from tagkit.jobs.marry import options_for

    kinds = list(dict.fromkeys(row.kind for row in received.taken))
    line("Next: stick each label on its own case or plate, then key in what is written there:")
    for kind in kinds:
        named = f"{kind.noun}: " if len(kinds) > 1 else ""
        line(f"  {named}tagkit marry TAG {options_for(kind)}", hang=4)


def marry(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The number on the label, as scanned.")],
    serial: Annotated[str | None, typer.Option("--serial", help="The maker's serial stamped there.")] = None,
    voltage: Annotated[str | None, typer.Option("--voltage", help="Like 48 or “48 V”.")] = None,
    weight: Annotated[str | None, typer.Option("--weight", help="Like “1111 kg” or “2450 lb”.")] = None,
    weight_min: Annotated[str | None, typer.Option("--weight-min", help="Of a truck's plate.")] = None,
    weight_max: Annotated[str | None, typer.Option("--weight-max", help="Of a truck's plate.")] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    answer: Answer = None,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """The label is on its battery or truck: key in what is stamped on that very case or plate.

    A difference from the sheet is reported (exit 13) and must be settled: --answer as-shown when
    the stamp was read right.

    Example: tagkit marry B-QM-00417-D --serial QW-88120 --voltage "48 V" --weight "1186 kg" --by KM
    """
    from tagkit.jobs.assets import asset
    from tagkit.jobs.label_behind import label_says
    from tagkit.jobs.marry import marry as log_married

    keyed = {
        "maker_serial": serial,
        "voltage": voltage,
        "weight": weight,
        "weight_min": weight_min,
        "weight_max": weight_max,
    }
    with open_site(site) as opened:
        married = log_married(
            opened,
            tag,
            {name: text for name, text in keyed.items() if text is not None},
            **entry(opened, by, station, at),
            answer=answer,
        )
        says = label_says(asset(opened.record, married.tag))
    if as_json:
        json_out(
            {
                "tag": married.tag,
                "event": married.event.id,
                "differences": list(married.differences),
                "notes": list(married.notes),
                "label_says": list(says),
            }
        )
        return
    for note in married.differences:
        line(f"settled as shown: {note}", hang=2)
    for note in married.notes:
        line(note, hang=2)
    line(f"{married.tag} is married: what was keyed in now counts as stamped.", style="bold")
    label_note(married.tag, says)


def labels(
    tags: Annotated[
        list[str] | None, typer.Argument(metavar="[TAG]...", help="None: every asset in service.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="The file: .pdf, .svg or .png.")
    ] = None,
    template: Template = None,
    kind: Annotated[str | None, typer.Option("--kind", help="Only assets of this kind.")] = None,
    by: By = None,
    at: At = None,
    station: Station = None,
    force: Force = False,
    site: SiteDir = HERE,
    as_json: AsJson = False,
) -> None:
    """Print or reprint labels. Every label is read back from pixels before the file is kept.

    “--template list” shows the templates.
    """
    from tagkit.jobs.assets import kind_named
    from tagkit.jobs.printing import list_templates, print_labels

    if template == "list":
        found = list_templates()
        if as_json:
            json_out({"templates": [{"name": name, "about": about} for name, about in found]})
        else:
            table(("template", "what it is for"), found)
        return
    if out is None:
        raise WrongInput("no file is named", "Add --out labels.pdf", "--out")
    free_to_write(out, force)
    with open_site(site) as opened, progress(as_json) as step:
        wanted = kind_named(kind) if kind else None
        chosen = tags or [
            state.tag for state in opened.record.states(wanted) if not state.retired_at
        ]
        if not chosen:
            raise WrongInput(
                "there is nothing to print", "Take a delivery in with “tagkit receive”"
            )
        printed = print_labels(
            opened,
            chosen,
            out,
            template,
            **entry(opened, by, station, at),
            progress=step,
        )
    if as_json:
        json_out(printed.to_json())
    else:
        line(f"{printed.file}: {plural(printed.labels, 'label')} on "
             f"{plural(printed.pages, 'page')}, template {printed.template}, each read back from "
             "pixels.")  # fmt: skip
