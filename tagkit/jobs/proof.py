"""The proof: every label is read back from pixels before its file is handed over."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from tagkit.errors import TagkitError
from tagkit.labels.pdf import PlacedSymbol
from tagkit.reader.decoders import decode_all

Progress = Callable[[str, int, int], None]


class ProofFailed(TagkitError):
    """A printed symbol does not read as what it should say."""


@dataclass(frozen=True)
class Proof:
    """How much was read back."""

    symbols: int
    pages: int


def prove(
    rendered: Iterable[Any],
    placed: Sequence[PlacedSymbol],
    dpi: int,
    progress: Progress | None = None,
) -> Proof:
    """Read each symbol in its own area; ProofFailed names the first wrong one.

    ``rendered``: the pages in order, grey (H × W, uint8), at ``dpi``.

    Every area must hold exactly the payload of its own label and no other code.
    """
    by_page: dict[int, list[PlacedSymbol]] = {}
    for symbol in placed:
        by_page.setdefault(symbol.page, []).append(symbol)
    done = pages = 0
    for number, page in enumerate(rendered):
        pages += 1
        for symbol in by_page.get(number, ()):
            _read_back(page, symbol, dpi)
            done += 1
            if progress:
                progress("reading back", done, len(placed))
    if done != len(placed):
        raise ProofFailed(
            f"only {done} of {len(placed)} symbols are on the {pages} pages", "Print them again"
        )
    return Proof(done, pages)


def _read_back(page: Any, symbol: PlacedSymbol, dpi: int) -> None:
    box, dots = symbol.symbol, dpi / 25.4
    quiet = 4 * dots  # part of the quiet zone, in pixels; neighbouring labels stay outside
    left, top = max(0, int(box.x * dots - quiet)), max(0, int(box.y * dots - quiet))
    right, bottom = int(box.right * dots + quiet) + 1, int(box.bottom * dots + quiet) + 1
    area = page[top:bottom, left:right]
    texts = decode_all(area, 0) or decode_all(area)
    if texts != [symbol.payload]:
        found = f"reads as {', '.join(texts)}" if texts else "can't be read"
        raise ProofFailed(
            f"the label of {symbol.tag} on page {symbol.page + 1} {found}; the file was not kept",
            "Use a template with a larger symbol, or report this fault",
        )
