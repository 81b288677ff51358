"""Flags and how much they matter."""

from __future__ import annotations

from tagkit.rules.flags import SEVERITIES, Flag, worst


def test_the_worst_of_several_counts():
    flags = [Flag("a", "A", "watch"), Flag("b", "B", "stop"), Flag("c", "C", "note")]
    assert worst(flags) == "stop"
    assert worst([]) is None
    assert SEVERITIES == ("note", "watch", "act", "stop")


def test_a_flag_says_its_sentence():
    flag = Flag("low cell", "cell 3 is 0.025 below the median", "watch", 3)
    assert str(flag) == flag.sentence
    assert flag.to_json()["cell"] == 3
