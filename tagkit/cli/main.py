"""The command ``tagkit``: which commands there are, and how they end."""

from __future__ import annotations

import os
import sqlite3
import sys
import traceback
from typing import Annotated

import typer

from tagkit import __version__
from tagkit.cli import (
    charging,
    correcting,
    delivery,
    demo,
    fitting,
    holding,
    keeping,
    lookup,
    people,
    reading,
)
from tagkit.cli.show import json_out, problem
from tagkit.errors import Exit, TagkitError

app = typer.Typer(
    name="tagkit",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Labels, fit checks and the record of a battery room: print a label for each battery, "
    "truck and charger, read them at the change, check the fit before the change is logged, and "
    "look up where a battery is and when it was last charged.",
    epilog="Exit codes: 0 done, or fit and ready; 2 wrong input; 3 not found; 10 no fit; "
    "11 not confirmed; 12 fit but not ready; 13 the record says otherwise; 14 part taken; "
    "20 verify found something; 70 our fault; 75 busy; 130 interrupted.",
)

FIRST = "The main job"
ROOM = "In the battery room"
RECORD = "The record"

app.command("demo", rich_help_panel=FIRST)(demo.demo)
app.command("init", rich_help_panel=FIRST)(keeping.init)
app.command("receive", rich_help_panel=FIRST)(delivery.receive)
app.command("marry", rich_help_panel=FIRST)(delivery.marry)
app.command("labels", rich_help_panel=FIRST)(delivery.labels)
app.command("read", rich_help_panel=FIRST)(reading.read)
app.command("fit", rich_help_panel=FIRST)(fitting.fit)
app.command("swap", rich_help_panel=FIRST)(fitting.swap)
app.command("where", rich_help_panel=FIRST)(lookup.where)

app.command("undo", rich_help_panel=ROOM)(fitting.undo)
app.command("seen", rich_help_panel=ROOM)(fitting.seen)
app.add_typer(charging.app, name="charge", rich_help_panel=ROOM)
app.command("hold", rich_help_panel=ROOM)(holding.hold)
app.command("release", rich_help_panel=ROOM)(holding.release)
app.command("list", rich_help_panel=ROOM)(lookup.list_assets)
app.command("history", rich_help_panel=ROOM)(lookup.history)

app.command("amend", rich_help_panel=RECORD)(correcting.amend)
app.command("retire", rich_help_panel=RECORD)(correcting.retire)
app.command("authorise", rich_help_panel=RECORD)(people.authorise)
app.command("contradictions", rich_help_panel=RECORD)(lookup.contradictions)
app.command("verify", rich_help_panel=RECORD)(keeping.verify)
app.command("backup", rich_help_panel=RECORD)(keeping.backup)
app.command("restore", rich_help_panel=RECORD)(keeping.restore)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"tagkit {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Set up nothing: every command opens what it needs itself."""


def main() -> None:
    """Run the command line; never returns. See the epilog for the exit codes."""
    as_json = "--json" in sys.argv
    try:
        app()
    except TagkitError as error:
        sys.exit(_told(error, as_json))
    except (KeyboardInterrupt, EOFError):
        problem("interrupted; what was not reported as logged was not logged")
        sys.exit(Exit.INTERRUPTED)
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            problem("the record is busy. Try again in a moment.")
            sys.exit(Exit.BUSY)
        sys.exit(_our_fault(error))
    except OSError as error:
        if error.filename is None:
            sys.exit(_our_fault(error))
        problem(f"{error.filename}: {error.strerror}. Check the path, the disk and your rights.")
        sys.exit(Exit.WRONG_INPUT)
    except Exception as error:  # noqa: BLE001 - the last resort turns into exit code 70
        sys.exit(_our_fault(error))


def _told(error: TagkitError, as_json: bool) -> int:
    problem(str(error))
    if as_json:
        json_out(
            {
                "error": {
                    "where": error.where,
                    "problem": error.problem,
                    "remedy": error.remedy,
                    "exit": int(error.exit_code),
                }
            }
        )
    return int(error.exit_code)


def _our_fault(error: BaseException) -> int:
    problem(
        f"a fault of ours ({type(error).__name__}: {error}). What was not reported as logged was "
        "not logged. Set TAGKIT_DEBUG=1 and run it again for a report to send in."
    )
    if os.environ.get("TAGKIT_DEBUG"):
        traceback.print_exception(error)
    return int(Exit.OUR_BUG)


if __name__ == "__main__":
    main()
