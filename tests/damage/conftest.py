"""The laboratory is a package of the bench; the project's top folder makes it importable."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
