"""The command that shows the main job on the invented depot."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.options import AsJson, Force
from tagkit.cli.progress import progress
from tagkit.cli.show import json_out, line, problem

CAUTION = (
    "Only trained, authorised people change and charge batteries. The makers' instructions, local "
    "codes and licensed practice overrule anything said here."
)


def demo(
    directory: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Where to build it; default: ./quillmoor."),
    ] = None,
    once: Annotated[bool, typer.Option("--once", help="Stop after the report.")] = False,
    port: Annotated[
        int | None,
        typer.Option("--port", min=1, max=65535, metavar="N",
                     help="Port to serve on; default 8642, or the next free one."),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Build the invented depot and do the main job there, from delivery to look-up.

    Then its pages are served on this computer until Ctrl-C, which ends with exit code 0.
    """
    from tagkit.jobs.demo import clear_old_demo, free_directory, run_demo

    if directory is None and not force:
        directory = free_directory(Path("quillmoor"))
    directory = directory or Path("quillmoor")
    if force:
        clear_old_demo(directory)
    steps = []
    try:
        with progress(as_json) as step:
            for done in run_demo(directory, step):
                steps.append(done)
                if not as_json:
                    line(done.title, style="bold")
                    for text in done.lines:
                        line(f"  {text}")
    except KeyboardInterrupt:
        if directory.exists():
            problem(f"{directory} is built in part only: “tagkit demo {directory} --force” builds "
                    "it anew")  # fmt: skip
        raise
    if as_json:
        json_out({"steps": [{"title": done.title, **done.facts} for done in steps]})
        return
    line(CAUTION)
    line(f"Look around: tagkit list --site {directory}")
    if not once:
        from tagkit.cli.serving import PORT, run
        from tagkit.web.options import ServeOptions

        run(ServeOptions(directory, port=port or PORT), any_port=port is None)
