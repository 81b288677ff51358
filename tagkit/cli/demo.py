"""The command that shows the main job on the invented depot."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tagkit.cli.options import AsJson, Force


def demo(
    directory: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where to build it; default: ./quillmoor.")
    ] = None,
    once: Annotated[
        bool, typer.Option("--once", help="Stop after the report instead of serving.")
    ] = False,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Build the invented depot and do the main job there, from delivery to look-up."""
    raise NotImplementedError
