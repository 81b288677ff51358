"""Files that appear whole or not at all, also when two write the same one at once."""

from pathlib import Path

import pytest
from tagkit.whole_file import whole_file


def test_two_that_write_one_file_at_once_do_not_meet(tmp_path: Path) -> None:
    out = tmp_path / "labels.pdf"
    with whole_file(out) as first:
        first.write_text("first", encoding="utf-8")
        with whole_file(out) as second:
            second.write_text("second", encoding="utf-8")
        assert out.read_text(encoding="utf-8") == "second"
        assert first.read_text(encoding="utf-8") == "first"
    assert out.read_text(encoding="utf-8") == "first"
    assert list(tmp_path.iterdir()) == [out]


def test_what_fails_leaves_the_file_as_it_was_and_nothing_beside_it(tmp_path: Path) -> None:
    out = tmp_path / ("x" * 240 + ".csv")
    out.write_text("before", encoding="utf-8")
    with pytest.raises(ZeroDivisionError), whole_file(out) as part:
        part.write_text("half", encoding="utf-8")
        raise ZeroDivisionError
    assert out.read_text(encoding="utf-8") == "before"
    assert list(tmp_path.iterdir()) == [out]
