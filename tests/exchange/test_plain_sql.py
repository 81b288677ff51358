"""What is asked of the database is plain SQL that other engines of its protocol have too."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import tagkit.exchange

PLAIN = {
    "array_agg", "clock_timestamp", "coalesce", "count", "extract", "greatest", "max", "min", "now",
    "octet_length", "row_number", "set_config", "string_agg", "sum", "to_regclass", "unnest",
}  # fmt: skip

OF_ONE_ENGINE = (
    r"\bADVISORY", r"\bLISTEN\b", r"\bNOTIFY\b", r"\bTRIGGER\b", r"\bEXTENSION\b", r"\bFUNCTION\b",
    r"\bPROCEDURE\b", r"\bDO \$", r"\bLOCK TABLE\b", r"\bUNLOGGED\b", r"\bTEMP(ORARY)?\b",
    r"\bDECLARE\b", r"\bctid\b", r"\bxmin\b", r"\bTABLESPACE\b", r"\bRULE\b", r"\bWITH HOLD\b",
)  # fmt: skip

STATEMENT = re.compile(r"^\s*\(?(SELECT|INSERT|UPDATE|CREATE|ALTER|GRANT|COPY|CREATE POLICY)\b")


def statements() -> list[tuple[str, str]]:
    """(module, SQL) of every text in the exchange's code that is a statement."""
    found = []
    for path in sorted(Path(tagkit.exchange.__file__).parent.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.JoinedStr):
                parts = [part.value for part in node.values if isinstance(part, ast.Constant)]
                text = "?".join(map(str, parts))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                text = node.value
            else:
                continue
            if STATEMENT.match(text):
                found.append((path.stem, text))
    return found


def test_only_plain_functions_are_called() -> None:
    asked = statements()
    assert len(asked) > 40 and {module for module, _ in asked} >= {"pull", "push", "layout"}
    called = {
        (module, name)
        for module, text in asked
        for name in re.findall(r"\b([a-z][a-z_]+)\(", re.sub(r"\b[a-z]\([a-z, ]+\)", "", text))
    }
    assert {entry for entry in called if entry[1] not in PLAIN} == set()


def test_nothing_is_used_that_one_engine_alone_has() -> None:
    words = re.compile("|".join(OF_ONE_ENGINE), re.IGNORECASE)
    assert [one for one in statements() if words.search(one[1])] == []
