"""The command ``tagkit``: which commands there are, and how they end."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from tagkit import __version__
from tagkit.cli.show import OutputLost, any_console, json_out, note_at_end, problem, say_notes
from tagkit.errors import Busy, Exit, TagkitError, WrongInput

UsageError: type[Exception] = typer.BadParameter.__bases__[0]
"""What a mistyped command raises. Some versions of typer bring their own click, so that it is
taken from the class that they all have in common."""


class CommandsByUse(TyperGroup):
    """Help that lists the commands under the words of ``rich_help_panel``, in plain text.

    Plain, because it is read on any console, and because drawing it would double the time that
    every start takes.
    """

    def format_commands(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]
        """One section for each use."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None and not command.hidden:
                use = getattr(command, "rich_help_panel", None)
                use = use if isinstance(use, str) else "Commands"
                sections.setdefault(use, []).append((name, command.get_short_help_str(200)))
        for use, rows in sections.items():
            with formatter.section(use):
                formatter.write_dl(rows)


FIRST = "The main job"
ROOM = "In the battery room"
CARE = "Battery care"
LABELS = "More about labels"
RECORD = "The record"
SITES = "More than one site"

# Command -> module of tagkit.cli, its function (or group of commands), the use it is listed under.
COMMANDS = {
    "demo": ("demo", "demo", FIRST),
    "init": ("keeping", "init", FIRST),
    "receive": ("delivery", "receive", FIRST),
    "marry": ("delivery", "marry", FIRST),
    "labels": ("delivery", "labels", FIRST),
    "read": ("reading", "read", FIRST),
    "fit": ("fitting", "fit", FIRST),
    "swap": ("fitting", "swap", FIRST),
    "where": ("lookup", "where", FIRST),
    "serve": ("serving", "serve", FIRST),
    "undo": ("fitting", "undo", ROOM),
    "seen": ("fitting", "seen", ROOM),
    "charge": ("charging", "app", ROOM),
    "today": ("morning", "today", CARE),
    "next": ("morning", "next_battery", CARE),
    "water": ("watering", "water", CARE),
    "round": ("rounds", "app", CARE),
    "test": ("care", "tests", CARE),
    "repair": ("care", "repair", CARE),
    "inspect": ("care", "inspect", CARE),
    "clean": ("care", "clean", CARE),
    "equipment": ("care", "equipment", CARE),
    "check": ("care", "check", CARE),
    "incident": ("incidents", "app", CARE),
    "steps": ("steps", "app", CARE),
    "plan": ("plans", "app", CARE),
    "report": ("reports", "app", CARE),
    "hold": ("holding", "hold", ROOM),
    "release": ("holding", "release", ROOM),
    "list": ("lookup", "list_assets", ROOM),
    "history": ("lookup", "history", ROOM),
    "condition": ("condition", "condition", ROOM),
    "preview": ("planning", "preview", LABELS),
    "distance": ("planning", "distance", LABELS),
    "cards": ("cards", "cards", LABELS),
    "badges": ("cards", "badges", LABELS),
    "out-of-service": ("cards", "out_of_service", LABELS),
    "amend": ("correcting", "amend", RECORD),
    "retire": ("correcting", "retire", RECORD),
    "authorise": ("people", "authorise", RECORD),
    "void": ("voiding", "void", RECORD),
    "contradictions": ("lookup", "contradictions", RECORD),
    "pin": ("serving", "pin", RECORD),
    "enrol": ("serving", "enrol", RECORD),
    "verify": ("keeping", "verify", RECORD),
    "backup": ("keeping", "backup", RECORD),
    "restore": ("keeping", "restore", RECORD),
    "record": ("keeping", "record_app", RECORD),
    "exchange": ("exchange", "exchange", SITES),
    "send": ("exchange", "send", SITES),
    "company": ("exchange", "company", SITES),
}


def app_with(*names: str) -> typer.Typer:
    """The command line with these commands. Each costs time to set up, so that a start sets up
    only the one that is asked for, and all of them for the help."""
    app = typer.Typer(
        name="tagkit",
        cls=CommandsByUse,
        no_args_is_help=True,
        rich_markup_mode=None,
        add_completion=False,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        help="Labels, fit checks and the record of a battery room: print a label for each "
        "battery, truck and charger, read them at the change, check the fit before the change is "
        "logged, and look up where a battery is and when it was last charged.",
        epilog="Exit codes: 0 done, or fit and ready; 2 wrong input; 3 not found; 10 no fit; "
        "11 not confirmed; 12 fit but not ready; 13 the record says otherwise; 14 part taken; "
        "20 verify found something; 70 our fault; 75 busy; 130 interrupted.",
    )
    app.callback()(_top)
    for name in names:
        module, function, use = COMMANDS[name]
        command = getattr(import_module(f"tagkit.cli.{module}"), function)
        if isinstance(command, typer.Typer):
            app.add_typer(command, name=name, rich_help_panel=use, cls=CommandsByUse)
        else:
            app.command(name, rich_help_panel=use)(command)
    return app


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"tagkit {__version__}")
        raise typer.Exit


def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Set up nothing: every command opens what it needs itself."""


def main() -> None:
    """Run the command line; never returns. See the epilog for the exit codes."""
    any_console()
    note_at_end(None)
    as_json = "--json" in sys.argv
    try:
        # Given back are the code of typer.Exit, or None at the end of a command.
        named = sys.argv[1] if len(sys.argv) > 1 else ""
        code = app_with(*([named] if named in COMMANDS else COMMANDS))(
            prog_name="tagkit", standalone_mode=False
        )
        say_notes()
    except UsageError as error:
        from tagkit.cli.usage import mistyped, only_help, usage_line

        told = mistyped(error)
        if help_text := only_help(error):
            sys.stderr.write(f"{help_text}\n")
        else:
            problem(f"{told}\n{usage_line(error)}")
        note_at_end(None)
        sys.exit(_as_json(told) if as_json else int(told.exit_code))
    except (KeyboardInterrupt, EOFError, typer.Abort):
        code = Exit.INTERRUPTED
    except SystemExit as ended:
        # Typer ends so, with 1, when whoever read our output has closed the pipe.
        code = Exit.INTERRUPTED if ended.code == 1 else ended.code
        sys.exit(code)
    except Exception as error:  # noqa: BLE001 - the last resort turns into exit code 70
        sys.exit(_told(_meant(error), as_json, error))
    if code == Exit.INTERRUPTED:
        problem("interrupted; what was not reported as logged was not logged")
        # An interruption that fell into a string being executed (a dataclass being made while
        # its module is imported) leaves a mark with which python -m ends by the signal instead
        # of with our code. Executing another string takes the mark away.
        exec("")
    sys.exit(int(code or 0))


def _meant(error: Exception) -> TagkitError:
    """The error as one that a person can mend, or as a fault of ours."""
    if isinstance(error, TagkitError):
        return error
    if isinstance(error, OSError) and error.filename is not None:
        return WrongInput(
            str(error.strerror), "Check the path, the disk and your rights", str(error.filename)
        )
    if isinstance(error, OSError) and error.strerror:
        return Busy(
            f"something can't be written or read: {error.strerror}",
            "Check that the disk is not full and is connected, and look before repeating it",
        )
    if type(error).__name__ == "OperationalError" and any(
        word in str(error) for word in ("locked", "busy")
    ):
        return Busy("the record is busy", "Try again in a moment")
    return _OurFault(
        f"a fault of ours ({type(error).__name__}: {error}); what was not reported as logged was "
        "not logged",
        "Set TAGKIT_DEBUG=1 and run it again for a report to send in",
    )


class _OurFault(TagkitError):
    exit_code = Exit.OUR_BUG


def _told(error: TagkitError, as_json: bool, cause: Exception) -> int:
    problem(str(error))
    note_at_end(None)  # nothing was done by anybody
    if error.exit_code == Exit.OUR_BUG and os.environ.get("TAGKIT_DEBUG"):
        import traceback

        traceback.print_exception(cause)
    if as_json and not isinstance(error, OutputLost):
        return _as_json(error)
    return int(error.exit_code)


def _as_json(error: TagkitError) -> int:
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


if __name__ == "__main__":
    main()
