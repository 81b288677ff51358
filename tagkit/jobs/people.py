"""Who may do what. A person is a code, initials, a role and a date: nothing else."""

from __future__ import annotations

import re
from datetime import datetime

from tagkit.errors import WrongInput
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import Person

ROLES = ("attendant", "technician", "supervisor")
PERSON_CODE = re.compile(r"[A-Z0-9._-]{1,16}")


def authorise(
    site: Site,
    person: str,
    initials: str,
    role: str,
    until: str | None,
    reference: str | None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Record that a person may do the work of a role until a date.

    The certificate itself stays with the employer; ``reference`` points to it. The first person
    of a site authorises themselves as supervisor; afterwards only supervisors authorise.
    """
    person = person.strip().upper()
    if not PERSON_CODE.fullmatch(person):
        raise WrongInput(
            f"“{person}” is not a person's code", "Use up to 16 letters, digits, . _ -", "CODE"
        )
    if role not in ROLES:
        raise WrongInput(f"“{role}” is not a role", f"One of: {', '.join(ROLES)}", "--role")
    if until is not None:
        try:
            until = datetime.strptime(until.strip(), "%Y-%m-%d").date().isoformat()  # noqa: DTZ007
        except ValueError:
            raise WrongInput(
                f"“{until}” is not a date", "Write it as YYYY-MM-DD", "--until"
            ) from None
    with site.record.writing(by=by, station=station, at=at) as writing:
        if site.record.people():
            require_supervisor(site, by)
        elif by.strip().upper() != person:
            raise WrongInput(
                f"nobody is recorded yet, so {by} can't authorise {person}",
                f"The first person is a supervisor and records themselves: add --by {person}",
                "--by",
            )
        elif role != "supervisor":
            raise WrongInput(
                "the first person of a site must be a supervisor",
                "Authorise a supervisor first, with --role supervisor",
            )
        over = last_day_passed(site, until)
        first = not site.record.people()
        if (over and first) or (
            (over or role != "supervisor") and _is_last_supervisor(site, person)
        ):
            raise WrongInput(
                f"{person} is the last supervisor, and nobody could authorise anybody then",
                "Authorise another supervisor first",
                "--until" if over else "--role",
            )
        return writing.append(
            "authorised",
            [],
            {
                "person": person,
                "initials": initials.strip() or person,
                "role": role,
                "until": until,
                "reference": reference,
            },
        )


def _is_last_supervisor(site: Site, person: str) -> bool:
    """Whether no other supervisor's authorisation runs."""
    others = [code for code in site.record.people() if code != person]
    return is_supervisor(site, person) and not any(is_supervisor(site, code) for code in others)


def is_supervisor(site: Site, code: str) -> bool:
    """Whether ``code`` is a supervisor whose authorisation has not run out."""
    known = site.record.person(code)
    return (
        known is not None and known.role == "supervisor" and not last_day_passed(site, known.until)
    )


def last_day_passed(site: Site, until: str | None) -> bool:
    """Whether the last day of an authorisation is over.

    By the later of this computer's clock and what the record proves to be past: a clock set back
    renews nobody, and one event with a wild date locks nobody out.
    """
    if until is None:
        return False
    return until < site.proved().astimezone(site.timezone()).date().isoformat()


def ran_out(site: Site, person: Person) -> str:
    """That somebody's authorisation is over, and by which clock."""
    if site.behind():
        return (
            f"by the record the authorisation of {person.code} ran out on {person.until}; this "
            "computer's clock is behind it"
        )
    return f"the authorisation of {person.code} ran out on {person.until}"


def check_authorised(site: Site, code: str) -> str | None:
    """Whether ``code`` may change and charge batteries: None, or what is to be warned of.

    WrongInput when the authorisation has run out and the site refuses that. Someone who is not
    recorded is warned of as soon as the site records people at all.
    """
    code = code.strip().upper()
    known = site.record.person(code)
    if known is None:
        if not site.record.people():
            return None
        return f"{code} is not recorded as authorised: have a supervisor record it"
    if not last_day_passed(site, known.until):
        return None
    problem = ran_out(site, known)
    if site.settings.people.run_out == "refuse":
        raise WrongInput(problem, "Have a supervisor renew it with “tagkit authorise”", "--by")
    return problem


def authorisation_note(site: Site, code: str) -> str | None:
    """What is to be said of ``code``, by whom something was logged that nobody is refused."""
    known = site.record.person(code.strip().upper())
    if known is not None and last_day_passed(site, known.until):
        return ran_out(site, known)
    return check_authorised(site, code)


def require_supervisor(site: Site, code: str) -> None:
    """WrongInput, saying why, unless :func:`is_supervisor`."""
    if is_supervisor(site, code):
        return
    known = site.record.person(code)
    if known is not None and known.role == "supervisor":
        raise WrongInput(
            ran_out(site, known),
            "Renew it with “tagkit authorise”",
            "--by",
        )
    raise WrongInput(
        f"{code} is not recorded as a supervisor",
        "Have a supervisor do it, or record one with “tagkit authorise”",
        "--by",
    )


def require_second(site: Site, by: str, second: str) -> str:
    """The second person of an amendment: recorded, still authorised, and not the first one."""
    code = second.strip().upper()
    if not code:
        raise WrongInput(
            "this takes a second authorised person", "Name the one who checked it", "--second"
        )
    if code == by.strip().upper():
        raise WrongInput(
            "the second person is the first one", "Have someone else check it", "--second"
        )
    require_technician(site, code, "--second")
    return code


def require_technician(site: Site, code: str, where: str = "--by") -> None:
    """WrongInput unless ``code`` is a technician or supervisor whose authorisation runs."""
    known = site.record.person(code)
    if known is None or known.role not in ("technician", "supervisor"):
        raise WrongInput(
            f"{code} is not recorded as a technician or supervisor",
            "Name one who is, or record the person with “tagkit authorise”",
            where,
        )
    if last_day_passed(site, known.until):
        raise WrongInput(
            ran_out(site, known),
            "Renew it with “tagkit authorise”",
            where,
        )
