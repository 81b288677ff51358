"""How large a sheet may be. A delivery is some dozens of rows; a fleet some thousands."""

from __future__ import annotations

FILE_BYTES = 20_000_000
UNPACKED_BYTES = 200_000_000  # an XLSX is a ZIP file, and a small one can hold a huge one
PARTS = 2_000
ROWS = 20_000
COLUMNS = 200
CELLS = 1_000_000
CELL_CHARACTERS = 32_000
