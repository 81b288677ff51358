"""Sentences that arrive with their figures in them, said in another language.

Rules, jobs and the record make English sentences around figures: “hot 51 °C, ready about
14:20”. The catalogue has them as patterns with named gaps, “hot {temperature}, ready about
{clock}”; a sentence that matches is said as the translation has it, what stands in the gaps
likewise where it is itself a sentence of the catalogue. What matches nothing stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

_GAP = re.compile(r"\{(\w+)\}")
_WORD = re.compile(r"[^\W\d_]{2,}")
_LONGEST = 1200
_DEEPEST = 5
_JOINTS = ("; ", ", ", " and ", " · ")


@dataclass(frozen=True)
class _Pattern:
    weight: int
    """Letters that it fixes: the more, the surer."""
    matches: re.Pattern[str]
    said: str


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
        self.say = lru_cache(maxsize=8192)(self._say)

    def __contains__(self, sentence: str) -> bool:
        return self._whole(sentence.strip(), 0) is not None

    def _learn(self, english: str, said: str) -> None:
        fixed = _GAP.sub(" ", english)
        words = _WORD.findall(fixed)
        if not words:
            return  # nothing but gaps would match anything
        parts = re.split(r"(\{\w+\})", english)
        written = "".join(
            _gap(part[1:-1]) if _GAP.fullmatch(part) else re.escape(part) for part in parts
        )
        weight = sum(map(len, words))
        pattern = _Pattern(weight, re.compile(written, re.DOTALL), said)
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
        best = max(self._matching(text), key=lambda one: one[0].weight, default=None)
        if best is None and text.endswith(".") and not text.endswith(".."):
            inner = self._whole(text[:-1], depth)
            return None if inner is None else f"{inner}."
        if best is None:
            return None
        pattern, gaps = best
        filled = {name: self._part(value, depth + 1) for name, value in gaps.items()}
        return _GAP.sub(lambda gap: filled[gap[1]], pattern.said)

    def _matching(self, text: str) -> Iterator[tuple[_Pattern, Mapping[str, str]]]:
        for word in dict.fromkeys(_WORD.findall(text)):
            for pattern in self._by_word.get(word, ()):
                if match := pattern.matches.fullmatch(text):
                    yield pattern, match.groupdict()
                    break

    def _joined(self, text: str, depth: int) -> str:
        """Several sentences, or a list, part by part."""
        sentences = re.split(r"(?<=[.!?]) (?=[^\W\d_a-z])", text)
        if len(sentences) > 1:
            return " ".join(self._part(one, depth + 1) for one in sentences)
        for joint in _JOINTS:
            if joint in text:
                parts = text.split(joint)
                said = [self._part(one, depth + 1) for one in parts]
                if said != parts:
                    return (f" {self._and} " if joint == " and " else joint).join(said)
        return text


def _like(said: str, text: str) -> str:
    return said[:1].upper() + said[1:] if text[:1].isupper() else said


def _gap(name: str) -> str:
    """What a gap takes: anything, but ``{single}`` one word alone."""
    return f"(?P<{name}>{r'[^ ]+' if name == 'single' else '.*?'})"
