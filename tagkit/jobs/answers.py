"""What a person may answer when the record says otherwise."""

from __future__ import annotations

from tagkit.errors import WrongInput

ANSWERS = ("as-shown", "as-recorded")


def check_answer(answer: str | None, as_recorded: str = "") -> None:
    """WrongInput for anything but the two answers.

    ``as_recorded``: what follows when the record is right, where nothing is left to log then.
    """
    if answer is not None and answer not in ANSWERS:
        raise WrongInput(
            f"“{answer}” is not an answer", f"One of: {', '.join(ANSWERS)}", "--answer"
        )
    if answer == "as-recorded" and as_recorded:
        raise WrongInput(as_recorded, "Read the numbers again; nothing was logged", "--answer")
