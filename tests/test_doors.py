"""The doors between the rooms: imports run one way, and the pure rooms do no I/O."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

# Room -> rooms it may import. A room may always import itself.
DOORS = {
    "errors": set(),
    "resources": set(),
    "whole_file": set(),
    "units": {"errors"},
    "assets": {"units", "errors"},
    "symbol": {"assets", "errors"},
    "settings": {"assets", "errors"},
    "site_toml": {"settings", "assets", "errors"},
    "rules": {"assets", "units", "settings", "errors"},
    "language": {"station", "assets", "units", "errors"},
    "station": {"rules", "assets", "units", "settings", "errors"},
    "record": {"assets", "rules", "units", "errors"},
    "intake": {"assets", "units", "errors", "whole_file"},
    "labels": {"symbol", "assets", "units", "errors", "resources", "whole_file"},
    "reader": {"symbol", "assets", "errors"},
    "demo": {"record", "labels", "symbol", "assets", "rules", "units", "intake", "settings",
             "errors", "resources"},
    "jobs": {"language", "station", "labels", "reader", "record", "rules", "intake", "symbol", "assets",
             "units", "settings", "site_toml", "demo", "exchange", "errors", "resources", "whole_file"},
    "exchange": {"record", "assets", "errors"},
    "web": {"jobs", "language", "station", "labels", "reader", "record", "rules", "intake", "assets", "units",
            "settings", "site_toml", "errors", "resources", "whole_file"},
    "cli": {"web", "jobs", "language", "station", "labels", "reader", "record", "rules", "intake",
            "assets", "units", "settings", "site_toml", "errors", "resources", "whole_file"},
}  # fmt: skip

PURE = ("assets", "rules", "symbol", "station", "units", "settings", "site_toml")
CLOCKS = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today")
DOES_IO = {"os", "io", "pathlib", "socket", "sqlite3", "subprocess", "shutil", "tempfile",
           "urllib.request", "requests", "glob", "time", "secrets"}  # fmt: skip


def modules(package: Path) -> list[Path]:
    return sorted(path for path in package.rglob("*.py") if "shipped" not in path.parts)


def room_of(path: Path, package: Path) -> str:
    return path.relative_to(package).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} uses a relative import"
            found.add(node.module or "")
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_imports_run_one_way(project: Path) -> None:
    package = project / "tagkit"
    wrong = []
    for path in modules(package):
        room = room_of(path, package)
        if room in ("__init__", "__main__"):
            continue
        assert room in DOORS, f"{room} is a new room: say in this test which doors it has"
        for name in imported(path):
            parts = name.split(".")
            if parts[0] != "tagkit" or len(parts) < 2 or name == "tagkit.__version__":
                continue
            if parts[1] not in DOORS[room] | {room}:
                wrong.append(f"{path.relative_to(project)} imports {name}")
    assert wrong == []


def test_the_pure_rooms_do_no_input_or_output(project: Path) -> None:
    package = project / "tagkit"
    wrong = []
    for path in modules(package):
        if room_of(path, package) not in PURE:
            continue
        names = imported(path)
        wrong += [f"{path.relative_to(project)}: {name}" for name in names & DOES_IO]
        # A generator with a seed of its own computes; the module's functions share a state.
        if "random" in names and {n for n in names if n.startswith("random.")} != {"random.Random"}:
            wrong.append(f"{path.relative_to(project)}: random")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in (
                "open",
                "print",
                "input",
            ):
                wrong.append(f"{path.relative_to(project)}:{node.lineno} calls {node.func.id}")  # type: ignore[attr-defined]
            if isinstance(node, ast.Attribute) and ast.unparse(node) in CLOCKS:
                wrong.append(f"{path.relative_to(project)}:{node.lineno} reads the clock")
    assert wrong == []


HEAVY = ("cv2", "numpy", "reportlab", "fastapi", "pypdfium2", "zxingcpp", "PIL", "sqlite_utils")


@pytest.mark.parametrize("arguments", [["--help"], ["fit", "--help"], ["--version"]])
def test_help_loads_no_heavy_library(arguments: list[str]) -> None:
    import subprocess

    code = (
        "import sys\n"
        f"sys.argv = ['tagkit', *{arguments!r}]\n"
        "from tagkit.cli.main import main\n"
        "try:\n    main()\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout.strip().endswith("[]"), done.stdout
