"""Sentences that arrive with their figures in them, said in another language.

Rules, jobs and the record make English sentences around figures: “hot 51 °C, ready about
14:20”. The catalogue has them as patterns with named gaps, “hot {temperature}, ready about
{clock}”; a sentence that matches is said as the translation has it, what stands in the gaps
likewise where it is itself a sentence of the catalogue. What matches nothing stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

_GAP = re.compile(r"\{(\w+)\}")
_QUOTED = re.compile(r"“\{(\w+)\}”")
_WORD = re.compile(r"[^\W\d_]{2,}")
_DIGIT = re.compile(r"\d")
_LOWER = re.compile(r"[a-zà-ÿ]{3}")
_JOINT = re.compile(r";|:(?!\d)")
"""What parts a sentence; a colon within a time of day does not."""
_LONGEST = 1200
_DEEPEST = 5
_WEAK = 14
"""Fixed letters below which a pattern that begins with a gap stays within the joints."""
_WEAKEST = 6
"""Fixed letters below which only figures and words of the catalogue fill the gaps: people's own
words are not taken apart."""


@dataclass(frozen=True)
class _Pattern:
    weight: int
    """Letters that it fixes: the more, the surer."""
    matches: re.Pattern[str]
    said: str
    open: bool
    """Whether it begins with a gap."""
    quoted: frozenset[str]
    """Gaps in quotation marks: somebody's own words, which stay as they are."""


class Spoken:
    """One language: ``plain`` sentences word for word, ``made`` ones by pattern."""

    def __init__(self, plain: Mapping[str, str], made: Mapping[str, str]) -> None:
        self._plain = plain
        self._by_word: dict[str, list[_Pattern]] = {}
        for english, said in made.items():
            self._learn(english, said)
        for patterns in self._by_word.values():
            patterns.sort(key=lambda one: -one.weight)
        self._and = plain.get("and", "and")
        knows = bool(plain or made)
        self.say: Callable[[str], str] = lru_cache(maxsize=8192)(self._say) if knows else str

    def __contains__(self, sentence: str) -> bool:
        return self._whole(sentence.strip(), 0) is not None

    def _learn(self, english: str, said: str) -> None:
        fixed = _GAP.sub(" ", english)
        words = _WORD.findall(fixed)
        if not words:
            return  # nothing but gaps would match anything
        parts = re.split(r"(\{\w+\})", english)
        filled = [part for part in parts if part]
        written = "".join(
            _gap(part[1:-1], i > 0 and bool(_GAP.fullmatch(filled[i - 1])))
            if _GAP.fullmatch(part)
            else re.escape(part)
            for i, part in enumerate(filled)
        )
        weight = sum(map(len, words)) + (_WEAKEST if "“" in english else 0)
        pattern = _Pattern(
            weight, re.compile(written, re.DOTALL), said, english[0] == "{",
            frozenset(_QUOTED.findall(english)),
        )  # fmt: skip
        self._by_word.setdefault(max(words, key=len), []).append(pattern)

    def _say(self, sentence: str) -> str:
        if len(sentence) > _LONGEST or not _WORD.search(sentence):
            return sentence
        return self._part(sentence, 0)

    def _part(self, text: str, depth: int) -> str:
        """The text with whatever of it is known; blanks around it stay."""
        bare = text.strip()
        if depth > _DEEPEST or not bare:
            return text
        said = self._whole(bare, depth)
        if said is None:
            said = self._joined(bare, depth)
        start = len(text) - len(text.lstrip())
        return f"{text[:start]}{said}{text[start + len(bare) :]}"

    def _whole(self, text: str, depth: int) -> str | None:
        if text in self._plain:
            return self._plain[text]
        lowered = text[:1].lower() + text[1:]
        if lowered in self._plain:
            return _like(self._plain[lowered], text)
        best = self._best(text, depth)
        if best is None and lowered != text and (best := self._best(lowered, depth)):
            return _like(self._filled(best, depth), text)
        if best is None and text.endswith(".") and not text.endswith(".."):
            inner = self._whole(text[:-1], depth)
            return None if inner is None else f"{inner}."
        if best is None:
            return None
        return self._filled(best, depth)

    def _best(self, text: str, depth: int) -> tuple[_Pattern, Mapping[str, str]] | None:
        """The pattern that says most of the text."""
        found = self._matching(text, depth)
        return max(found, key=lambda one: one[0].weight, default=None)

    def _filled(self, best: tuple[_Pattern, Mapping[str, str]], depth: int) -> str:
        pattern, gaps = best
        filled = {
            name: value if name in pattern.quoted else self._part(value, depth + 1)
            for name, value in gaps.items()
        }
        return _GAP.sub(lambda gap: filled[gap[1]], pattern.said)

    def _matching(self, text: str, depth: int) -> Iterator[tuple[_Pattern, Mapping[str, str]]]:
        for word in dict.fromkeys(_WORD.findall(text)):
            for pattern in self._by_word.get(word, ()):
                match = pattern.matches.fullmatch(text)
                if match and self._sure(pattern, match, depth):
                    yield pattern, match.groupdict()
                    break

    def _sure(self, pattern: _Pattern, match: re.Match[str], depth: int) -> bool:
        """Whether the gaps hold no more than such a pattern can answer for."""
        gaps = [one.strip() for one in match.groups()]
        if pattern.weight < _WEAK and pattern.open and any(map(_JOINT.search, gaps)):
            return False
        if pattern.weight >= _WEAKEST:
            return True
        return all(not one or _DIGIT.search(one) or self._known(one, depth + 1) for one in gaps)

    def _joined(self, text: str, depth: int) -> str:
        """Several sentences, a heading with its reason, or a list, part by part."""
        sentences = re.split(r"(?<=[.!?]) (?=[^\W\d_a-z])", text)
        if len(sentences) > 1:
            return " ".join(self._part(one, depth + 1) for one in sentences)
        head, colon, rest = text.partition(": ")
        heading = self._part(head, depth + 1) if colon and self._known(head, depth) else None
        if heading is not None and (";" not in rest or self._whole(rest, depth) is not None):
            return f"{heading}: {self._part(rest, depth + 1)}"
        for joint in ("; ", " · ", " → "):
            if joint in text:
                return joint.join(self._part(one, depth + 1) for one in text.split(joint))
        if heading is not None:
            return f"{heading}: {self._part(rest, depth + 1)}"
        for joint, said in ((", ", ", "), (" and ", f" {self._and} ")):
            parts = text.split(joint)
            if len(parts) > 1 and all(self._known(one, depth) for one in parts):
                return said.join(self._part(one, depth + 1) for one in parts)
        return text

    def _known(self, text: str, depth: int) -> bool:
        """Whether it is of the catalogue, or no words at all: a number, a figure with its unit."""
        bare = text.strip()
        if depth > _DEEPEST:
            return False
        if self._whole(bare, depth) is not None or not _LOWER.search(bare):
            return True
        return " and " in bare and all(self._known(one, depth) for one in bare.split(" and "))


def _like(said: str, text: str) -> str:
    return said[:1].upper() + said[1:] if text[:1].isupper() else said


def _gap(name: str, after_gap: bool) -> str:
    """What a gap takes: anything, but ``{single}`` one word alone; right after another gap
    nothing, or what begins like a new part."""
    if after_gap:
        return f"(?P<{name}>(?:[ ,:;(].*?)?)"
    return f"(?P<{name}>{r'[^ ]+' if name == 'single' else '.*?'})"
