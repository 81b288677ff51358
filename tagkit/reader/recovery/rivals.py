"""The tags that could be mistaken for a match: all that can be issued, not only the registered.

Neighbouring serials share most of their data and, by the code, at least a minimum distance of
the rest; which of them agrees best with the picture depends on the damage. All serials of the
site, of all kinds, are looked at: a symbol's signs are a product of what the first digits and
what the last digits and the check character flip, so that 500,000 tags cost one small matrix
product for each state of the check digit recursion (ISO/IEC 7064, hybrid system MOD 37,36).
Symbols that were never issued but differ from the match in one character are rivals too: a
mistyped page under the same link must not become a tag.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tagkit.assets.tag import Kind
from tagkit.reader.recovery.expected import ALPHABET, symbols
from tagkit.reader.recovery.roster import Family, Variant

_CHECKS = ALPHABET[:36]
_MODULUS = 36
_NEVER = (_CHECKS.index("O"), _CHECKS.index("I"))


def rivals(
    family: Family, match: Variant, values: NDArray[np.float32], most: int = 200
) -> list[str]:
    """Payloads of the rivals that agree best with the soft informative modules ``values``."""
    best = _issued(family, values, most)
    near = list(_one_character_off(family, match))
    scores = family.signs_of(near) @ values
    best += [(float(scores[index]), near[index]) for index in np.argsort(-scores)[:most]]
    best.sort(reverse=True)
    return [payload for _, payload in dict.fromkeys(best) if payload != match.payload][:most]


def _issued(family: Family, values: NDArray[np.float32], most: int) -> list[tuple[float, str]]:
    """The best tags of the family's site, any kind, any serial of the same length."""
    low_digits, low_signs, checks = _lower(family)
    high, high_signs, kind_signs = _higher(family)
    kinds = list(Kind)
    weighted = np.concatenate([high_signs * (kind_signs[kind] * values) for kind in kinds])
    states = np.concatenate([_states(f"{kind.value}{family.site}", high) for kind in kinds])
    found: list[tuple[float, str]] = []
    # The kinds together: each state's many signs are made numbers once.
    for now in np.unique(states):
        rows = np.flatnonzero(states == now)
        scores = weighted[rows] @ low_signs[now].T.astype(np.float32)
        scores[:, np.isin(checks[now], _NEVER)] = -np.inf
        floor = found[most - 1][0] if len(found) >= most else -np.inf
        better = np.argwhere(scores > floor)
        if len(better) > most:
            order = np.argsort(-scores[better[:, 0], better[:, 1]])[:most]
            better = better[order]
        for row, column in better.tolist():
            kind, first = kinds[rows[row] // len(high)], high[rows[row] % len(high)]
            check = _CHECKS[checks[now][column]]
            tag = f"{kind.value}-{family.site}-{first}{low_digits[column]}-{check}"
            found.append((float(scores[row, column]), f"{family.before}{tag}{family.after}"))
        if len(better):
            found.sort(reverse=True)
            del found[2 * most :]
    found.sort(reverse=True)
    return found[:most]


def _split(family: Family) -> int:
    """After how many digits the payload's pairs of characters can be told apart."""
    first = len(family.before) + 3 + len(family.site)
    return max(digit for digit in range(family.digits) if (first + digit) % 2 == 0)


@lru_cache(maxsize=16)
def _higher(
    family: Family,
) -> tuple[list[str], NDArray[np.int8], dict[Kind, NDArray[np.float32]]]:
    """The first digits, all of them; the signs of symbols whose other digits are 0; what each
    kind flips."""
    digits = _split(family)
    rest = "0" * (family.digits - digits)
    high = [f"{number:0{digits}d}" if digits else "" for number in range(10**digits)]

    def payloads(kind: Kind, firsts: list[str]) -> list[str]:
        start = f"{family.before}{kind.value}-{family.site}-"
        return [f"{start}{one}{rest}-0{family.after}" for one in firsts]

    first = next(iter(Kind))
    signs = family.signs_of(payloads(first, high)).astype(np.int8)
    kinds = {kind: family.signs_of(payloads(kind, high[:1]))[0] * signs[0] for kind in Kind}
    return high, signs, kinds


@lru_cache(maxsize=16)
def _lower(
    family: Family,
) -> tuple[list[str], dict[int, NDArray[np.int8]], dict[int, NDArray[np.int64]]]:
    """The last digits; for each state of the recursion what they and their check character
    flip (as signs), and the check characters' values."""
    digits = _split(family)
    length = family.digits - digits
    low = [f"{number:0{length}d}" for number in range(10**length)]
    kind = next(iter(Kind)).value
    start = f"{family.before}{kind}-{family.site}-{'0' * digits}"
    rest = "0" * length
    zero = family.signs_of([f"{start}{rest}-0{family.after}"])
    by_digits = family.signs_of([f"{start}{one}-0{family.after}" for one in low]) * zero
    by_check = family.signs_of([f"{start}{rest}-{one}{family.after}" for one in _CHECKS]) * zero
    # Digits and check character share no pair: a hyphen lies between them.
    signs, checks = {}, {}
    for state in range(_MODULUS):
        values = np.full(len(low), state)
        for place in range(length):
            values = _step(values, np.array([int(one[place]) for one in low]))
        checks[state] = _check(values)
        signs[state] = (by_digits * by_check[checks[state]]).astype(np.int8)
    return low, signs, checks


def _states(start: str, high: list[str]) -> NDArray[np.int64]:
    """The recursion's state after kind, site and first digits."""
    state = np.full(len(high), _MODULUS // 2, np.int64)
    for character in start:
        state = _step(state, np.full(len(high), _CHECKS.index(character)))
    for place in range(len(high[0])):
        state = _step(state, np.array([int(one[place]) for one in high]))
    return state


def _step(state: NDArray[np.int64], value: NDArray[np.int64]) -> NDArray[np.int64]:
    """One character of MOD 37,36."""
    return (np.where(state == 0, _MODULUS, state) * 2 % (_MODULUS + 1) + value) % _MODULUS


def _check(state: NDArray[np.int64]) -> NDArray[np.int64]:
    """The value of the check character."""
    return (1 - np.where(state == 0, _MODULUS, state) * 2 % (_MODULUS + 1)) % _MODULUS


def _one_character_off(family: Family, match: Variant) -> list[str]:
    """Payloads that differ from the match in one character of the tag, hyphens left alone."""
    start = len(family.before)
    tag = str(match.tag)
    found = []
    for place, character in enumerate(tag):
        if character == "-":
            continue
        for other in _CHECKS:
            if other != character:
                changed = f"{tag[:place]}{other}{tag[place + 1 :]}"
                found.append(f"{match.payload[:start]}{changed}{family.after}")
    return found


def full_signs(family: Family, payloads: list[str]) -> NDArray[np.float32]:
    """Expected signs of every module (payloads, size²)."""
    dark = symbols(payloads, family.version, family.level, family.mask)
    return np.where(dark, np.float32(1), np.float32(-1))
