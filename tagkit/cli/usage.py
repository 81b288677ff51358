"""What was mistyped, told as every other error is: what is missing or wrong, what it is for, and a
line to write it like."""

from __future__ import annotations

import re
from typing import Any

from tagkit.errors import WrongInput

_FOR = {
    "BATTERY": "number, serial or fleet number of the battery",
    "CHARGER": "number or bay of the charger",
    "TRUCK": "number or fleet number of the truck",
    "PROCEDURE": "which procedure; “tagkit steps show” lists them",
}


def mistyped(error: Any) -> WrongInput:
    """The error for what the command line's parser refused."""
    context = getattr(error, "ctx", None)
    command = getattr(context, "command", None)
    message = str(error.format_message()).rstrip(".")
    if remedied := _misnamed(context, message):
        return remedied
    missing = _missing(error, context, command)
    if missing:
        names = [_name(one) for one in missing]
        verb = "is" if len(names) == 1 else "are"
        told = [f"{' and '.join(names)} {verb} missing"]
        told += [f"{_name(one)}: {words}" for one in missing if (words := _for(one))]
        message = "; ".join(told)
    elif found := re.search(r"valid (integer|number)", message):
        kind = "a whole number" if found[1] == "integer" else "a number"
        message = f"{message.partition(':')[0].removeprefix('Invalid value for ')} takes {kind}"
    example = _example(getattr(command, "help", None) or "")
    if example:
        remedy = f"Write it like: {example}"
    elif (
        context is not None and context.parent and (commands := getattr(command, "commands", None))
    ):
        remedy = f"One of: {', '.join(commands)}"
    else:
        remedy = "Add --help to see how it is used"
    return WrongInput(message, remedy)


def only_help(error: Any) -> str | None:
    """The help, where a command that only holds others was given alone: nothing was mistyped."""
    context = getattr(error, "ctx", None)
    if type(error).__name__ != "NoArgsIsHelpError" or context is None:
        return None
    return str(context.get_help())


def _misnamed(context: Any, message: str) -> WrongInput | None:
    """For a command that there is not, and for an option that stands before its command."""
    if context is None or not getattr(context.command, "commands", None):
        return None
    if found := re.match(r"No such command '(.*?)'", message, re.DOTALL):
        near = re.findall(r"'([^']*)'", message[found.end() :])
        help_of = f"“{context.command_path} --help” lists the commands"
        guess = f"Did you mean {' or '.join(near)}? {help_of}" if near else help_of
        return WrongInput(f"there is no command “{found[1]}”", guess)
    if found := re.match(r"No such option: (\S+)", message):
        line = f"{context.command_path} COMMAND … {found[1]}"
        return WrongInput(
            f"{found[1]} is no option of “{context.command_path}” itself",
            f"Options stand after the command: {line}",
        )
    return None


def usage_line(error: Any) -> str:
    """How the command is used, in one line."""
    context = getattr(error, "ctx", None)
    return str(context.get_usage()) if context is not None else "Usage: tagkit COMMAND"


def _missing(error: Any, context: Any, command: Any) -> list[Any]:
    """What the command needs and was not given: the parser itself names only the first."""
    first = getattr(error, "param", None)
    if type(error).__name__ != "MissingParameter" or first is None or context is None:
        return []
    given = getattr(context, "params", {})
    others = [
        one
        for one in getattr(command, "params", ())
        if one.required and one.name not in given and one is not first
    ]
    return [first, *others]


def _name(param: Any) -> str:
    if param.param_type_name == "option":
        return str(max(param.opts, key=len))
    return str(param.metavar or param.name).strip("{}").upper()


def _for(param: Any) -> str:
    words = getattr(param, "help", None) or _FOR.get(_name(param), "")
    words = words.strip().rstrip(".")
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def _example(text: str) -> str:
    """The first example of a command's help."""
    found = re.search(r"Examples?: (tagkit .+?)(?: · |\n\n|\.?\s*$)", text, re.DOTALL)
    return " ".join(found[1].split()) if found else ""
