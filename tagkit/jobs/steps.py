"""Step lists by procedure: shown, edited by the site, confirmed into the record.

They remind trained people; they train nobody. The site's copy is ``steps.toml`` beside
``site.toml``; what it does not have is taken from the lists that come with tagkit.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from tagkit.assets.legible import legible
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.site import Site
from tagkit.jobs.step_words import STEPS, TITLES
from tagkit.jobs.tables import replace_file
from tagkit.record.care_bodies import PROCEDURES
from tagkit.record.envelope import Event

STEPS_FILE = "steps.toml"
LANGUAGES = ("en", "es")
MOST_STEPS, LONGEST_STEP = 40, 300
NOTE = "The makers' instructions, the site's procedure and local codes overrule these steps."


@dataclass(frozen=True)
class StepList:
    """The steps of a procedure in one language; ``own``: the site has edited them."""

    procedure: str
    title: str
    language: str
    steps: tuple[str, ...]
    own: bool

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit steps show --json`` prints it."""
        return {
            "procedure": self.procedure,
            "title": self.title,
            "language": self.language,
            "steps": list(self.steps),
            "own": self.own,
        }


def step_list(site: Site, procedure: str, language: str | None = None) -> StepList:
    """The steps of a procedure; WrongInput lists what there is."""
    name = procedure.strip().lower().replace("-", " ")
    if name not in PROCEDURES:
        raise WrongInput(
            f"“{procedure}” is no procedure", f"One of: {', '.join(PROCEDURES)}", "PROCEDURE"
        )
    spoken = language or site.settings.site.language
    if spoken not in LANGUAGES:
        raise WrongInput(f"“{spoken}” is not a language of ours", "Write en or es", "--language")
    own = _own(site.directory).get(name, {}).get(spoken)
    return StepList(
        name, TITLES[name][spoken], spoken, tuple(own or STEPS[name][spoken]), own is not None
    )


def all_steps(site: Site, language: str | None = None) -> list[StepList]:
    """Every procedure's list."""
    return [step_list(site, procedure, language) for procedure in PROCEDURES]


def write_steps(site: Site, *, force: bool = False) -> Path:
    """Writes ``steps.toml`` with every list as it stands, to be edited. Never overwrites unless
    ``force``, which begins anew from what comes with tagkit."""
    path = site.directory / STEPS_FILE
    if path.exists() and not force:
        raise WrongInput(
            f"{path} is already there", "Edit it, or add --force to begin anew", STEPS_FILE
        )
    _write(path, {name: dict(STEPS[name]) for name in PROCEDURES})
    return path


def keep_steps(site: Site, procedure: str, language: str, steps: Sequence[str]) -> StepList:
    """The site's own list for a procedure in a language; without steps, the one that comes with
    tagkit counts again. WrongInput for more than 40 steps, or one beyond 300 characters."""
    before = step_list(site, procedure, language)
    name, spoken = before.procedure, before.language
    wanted = [" ".join(legible(step).split()) for step in steps]
    wanted = [step for step in wanted if step]
    if len(wanted) > MOST_STEPS or any(len(step) > LONGEST_STEP for step in wanted):
        raise WrongInput(
            f"a list has at most {MOST_STEPS} steps of {LONGEST_STEP} characters", "Shorten it"
        )
    own = _own(site.directory)
    lists = {one: dict(own.get(one, {})) for one in PROCEDURES}
    if wanted:
        lists[name][spoken] = wanted
    else:
        lists[name].pop(spoken, None)
    _write(site.directory / STEPS_FILE, {one: known for one, known in lists.items() if known})
    return step_list(site, name, spoken)


def _write(path: Path, lists: Mapping[str, Mapping[str, Sequence[str]]]) -> None:
    lines = [
        "# Steps of this site, by procedure and language. They are shown and confirmed one by one.",
        f"# {NOTE}",
    ]
    for procedure, languages in lists.items():
        lines += ["", f'["{procedure}"]']
        for language, steps in languages.items():
            lines.append(f"{language} = [")
            lines += [f"    {_quoted(step)}," for step in steps]
            lines.append("]")
    replace_file(path, ("\n".join(lines) + "\n").encode("utf-8"))


def confirm_steps(
    site: Site,
    procedure: str,
    *,
    left_out: Collection[int] = (),
    assets: Sequence[str] = (),
    language: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Records that somebody went through the steps; ``left_out`` are those not done, from 1."""
    steps = step_list(site, procedure, language)
    for number in left_out:
        if not 1 <= number <= len(steps.steps):
            raise WrongInput(
                f"there is no step {number}", f"Count from 1 to {len(steps.steps)}", "--left-out"
            )
    missed = set(left_out)
    with site.record.writing(by=by, station=station, at=at) as writing:
        tags = [asset(writing, number).tag for number in assets]
        return writing.append(
            "steps_confirmed",
            tags,
            {
                "procedure": steps.procedure,
                "steps": [s for n, s in enumerate(steps.steps, 1) if n not in missed],
                "left_out": [s for n, s in enumerate(steps.steps, 1) if n in missed],
                "language": steps.language,
            },
        )


def _own(directory: Path) -> dict[str, dict[str, list[str]]]:
    """The site's own lists, checked; empty when it has none."""
    path = directory / STEPS_FILE
    if not path.is_file():
        return {}
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise WrongInput(f"this is not TOML: {error}", "Mend that line", str(path)) from None
    for name, languages in tables.items():
        where = f"{path}, [{name}]"
        if name not in PROCEDURES or not isinstance(languages, dict):
            raise WrongInput(
                f"“{name}” is no procedure", f"Allowed are: {', '.join(PROCEDURES)}", where
            )
        for language, steps in languages.items():
            if language not in LANGUAGES:
                raise WrongInput(f"“{language}” is not a language", "Write en or es", where)
            if not isinstance(steps, list) or not 1 <= len(steps) <= MOST_STEPS:
                raise WrongInput(f"a list has 1 to {MOST_STEPS} steps", "Write them in [ ]", where)
            if any(not isinstance(one, str) or not one.strip() for one in steps):
                raise WrongInput("a step is a text", "Write each in quotes", where)
    return tables


def _quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0, "String")."""
    escaped = "".join(
        f"\\{one}" if one in '"\\' else f"\\u{ord(one):04x}" if one < " " or one == "\x7f" else one
        for one in text
    )
    return f'"{escaped}"'
