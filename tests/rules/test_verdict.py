"""What a verdict says, and the form it is frozen in."""

from __future__ import annotations

import json

import pytest
from fit_plates import battery, truck, verdict
from tagkit.rules.verdict import Check, Verdict, verdict_of


def a_line(result):
    return Check("weight", result, None, None, None, "")


@pytest.mark.parametrize(
    ("lines", "result"),
    [
        (["fit", "fit"], "fit"),
        (["fit", "not_confirmed"], "not_confirmed"),
        (["not_confirmed", "no_fit", "fit"], "no_fit"),
        ([], "not_confirmed"),
    ],
)
def test_the_worst_line_decides(lines, result):
    assert verdict_of(a_line(line) for line in lines).result == result


def test_the_lines_that_decide_come_worst_first():
    found = verdict(battery(weight="900 kg", chemistry=None), truck())
    assert [check.name for check in found.deciding] == ["weight", "chemistry"]
    assert verdict(battery(), truck()).deciding == ()


def test_as_json_it_has_the_agreed_keys_and_comes_back():
    found = verdict(battery(weight="2450 lb"), truck(connector="350 grey"))
    text = json.dumps(found.to_json())
    assert set(json.loads(text)) == {"verdict", "checks"}
    weight = json.loads(text)["checks"][1]
    assert list(weight) == ["name", "result", "required", "found", "margin", "source", "note"]
    assert weight["margin"]["unit"] == "kg"
    back = Verdict.from_json(json.loads(text))
    assert back.to_json() == found.to_json()
    assert back.result == "not_confirmed"
