"""Finished English sentences of the program, told in another language.

The inner rings word their findings, reasons and dates in English, and stored ones stay as they were written. Here a
finished text is taken apart by the messages it was put together from (``program_texts``): a message without places is
known whole; one with places is matched, and what stands in its places is told in turn; lists and chains of sentences
are told piece by piece. What is not recognised, such as a title that the painter typed, stays as it is.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from server.web.language.catalogue import DECIMAL_MARKS, ENGLISH, spoken
from server.web.language.vocabulary import DAYS_AND_MONTHS

_PLACE = re.compile(r"\{(\w+)(?::[^{}]*)?\}")
_WORD = re.compile(r"[A-Za-z]+")
_OWN_WORD = re.compile(r"(?<![A-Za-z0])[a-z]+(?![A-Za-z0])")  # one that no value touches
_PLAIN = re.compile(r"[^A-Za-z]*(?:(?:cm|mm|µm|um|ml|g|fl oz|in|sq in|mil|cm²|g/cm³|°C|°F|lx|am|pm|R\d+)\b[^A-Za-z]*)*")
# A number of something, or a pigment by its Colour Index name and its own.
_COUNT = re.compile(r"(?P<number>\d[\d,.]*|P[A-Z][a-z]?\d+(?::\d)?|R\d\d)(?P<gap>[ \u00a0])(?P<what>.+)", re.DOTALL)
_NUMBERED = re.compile(r"([A-Za-z][A-Za-z -]*) (\d[\d,.]*)")
_DECIMAL = re.compile(r"(?<![\d.])(\d+)\.(\d+)(?![\d.])")
_DATE = re.compile(r"[A-Za-z]+|[^A-Za-z]+")
_END = re.compile(r"(?: \(R\d\d\)|[.:,])$")
_QUOTED_PLACE = re.compile(r"“\{(\w+)\}”")
_JOINT = re.compile(r"[,;:.] ")
_QUOTED = re.compile(r"“[^”]*”")
# Between pieces that are told one by one. Those of clauses are cut before a message with places is tried.
CLAUSES = (". ", "; ", ", or ")
LISTS = (" · ", ": ", ", and ", ", ", " – ", " (", " or ", " and ", " to ")
WEAK = (" (", " or ", " and ", " to ")  # so common that all pieces must be known
# A message with fewer letters than this fits too much: it counts only when all in its places is known.
STRONG_LETTERS = 9
MOST_LETTERS = 4000
TYPED_PLACES = frozenset({"title", "due_for", "note", "region", "studio_name", "painter"})
KEPT = 20_000
MOST_PIECES = 16


@dataclass(frozen=True, slots=True)
class Pattern:
    """A message with places: what it matches, and how the language puts it. What stands in ``quoted`` places is a
    name, and stays."""

    strength: int
    matches: re.Pattern[str]
    told: str
    quoted: frozenset[str]


@dataclass(frozen=True, slots=True)
class Found:
    """What a text is told as, and how many of its letters were not recognised."""

    told: str
    unknown: int = 0

    @property
    def is_whole(self) -> bool:
        return self.unknown == 0


class Sentences:
    """The recognised messages of one language."""

    def __init__(self, messages: Mapping[str, str], decimal: str = ".") -> None:
        """``decimal``: the mark that the language has in figures."""
        self._decimal = decimal
        self._whole: dict[str, str] = {}
        self._by_word: dict[str, list[Pattern]] = {}
        self.told = lru_cache(KEPT)(self._told)
        self._found = lru_cache(KEPT)(self._find)
        with_places = {message: told for message, told in messages.items() if _PLACE.search(message)}
        bare = {
            " ".join(message.split()): " ".join(told.split())
            for message, told in messages.items()
            if message not in with_places
        }
        self._whole.update(bare)
        for message, told in bare.items():
            self._note(message, told)
        self._index(with_places)

    def _note(self, message: str, told: str) -> None:
        """A message without places, and each of its sentences, for they are shown alone as well."""
        for one, other in _forms(message, told):
            self._whole.setdefault(one, other)
        ours, theirs = message.split(". "), told.split(". ")
        if 1 < len(ours) == len(theirs):
            for one, other in zip(ours, theirs, strict=True):
                self._whole.setdefault(one.rstrip("."), other.rstrip("."))

    def _index(self, messages: Mapping[str, str]) -> None:
        """Each pattern under the rarest of its own words."""
        often: dict[str, int] = {}
        words_of = {message: set(_OWN_WORD.findall(_PLACE.sub("0", message).lower())) for message in messages}
        for words in words_of.values():
            for word in words:
                often[word] = often.get(word, 0) + 1
        for message, told in messages.items():
            if words_of[message] and not re.search(r"</?[a-z]+\d*>", message):
                rarest = min(words_of[message], key=lambda word: (often[word], word))
                for form in _forms(message.strip(), told.strip()):
                    self._by_word.setdefault(rarest, []).append(_pattern(*form))
        for patterns in self._by_word.values():
            patterns.sort(key=lambda pattern: -pattern.strength)

    def _told(self, text: str) -> str:
        """``text`` as far as it is recognised."""
        if len(text) > MOST_LETTERS or not _WORD.search(text):
            return text
        lead, tail = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
        found = self._found(text.strip())
        return text if found is None else f"{lead}{found.told}{tail}"

    def _find(self, text: str) -> Found | None:
        """The translation of a text without white space around it; None when nothing of it is recognised."""
        if text in self._whole:
            return Found(self._whole[text])
        if _QUOTED.fullmatch(text):
            return Found(text)
        if _PLAIN.fullmatch(text):
            return Found(self._figures(text))
        # Without its stop first: a place at the end of a message would take that in, and put it elsewhere.
        simple = (self._counted, self._dated, self._chained, self._without_stop)
        return _best(way(text) for way in (*simple, self._matched, self._in_other_case, self._listed))

    def _counted(self, text: str) -> Found | None:
        count = _COUNT.fullmatch(text)
        what = self._whole.get(count["what"]) if count else None
        if count and what:
            return Found(f"{self._figures(count['number'])}{count['gap']}{what}")
        after = _NUMBERED.fullmatch(text)
        word = self._whole.get(after[1]) if after else None
        return Found(f"{word} {self._figures(after[2])}") if after and word else None

    def _figures(self, text: str) -> str:
        return _DECIMAL.sub(rf"\1{self._decimal}\2", text)

    def _dated(self, text: str) -> Found | None:
        """A day: figures with the names of months and weekdays."""
        pieces = _DATE.findall(text)
        if len(pieces) > 9 or not any(piece in DAYS_AND_MONTHS for piece in pieces):
            return None
        if not all(piece in DAYS_AND_MONTHS or not piece[0].isalpha() for piece in pieces):
            return None
        return Found("".join(self._whole.get(piece, piece) for piece in pieces))

    def _matched(self, text: str) -> Found | None:
        """By the message with most letters of its own; one whose places are all recognised comes first."""
        words = set(_WORD.findall(text.lower()))
        fitting = [pattern for word in words for pattern in self._by_word.get(word, ())]
        fitting.sort(key=lambda each: -each.strength)
        return _best(self._by_pattern(pattern, text) for pattern in fitting)

    def _by_pattern(self, pattern: Pattern, text: str) -> Found | None:
        found = pattern.matches.fullmatch(text)
        if found is None:
            return None
        values = {
            name: Found(value) if name in pattern.quoted and "”" not in value else self._placed(name, value)
            for name, value in found.groupdict().items()
        }
        unknown = sum(value.unknown for value in values.values())
        if unknown and pattern.strength < STRONG_LETTERS:
            return None
        return Found(_PLACE.sub(lambda place: values[place[1]].told, pattern.told), unknown)

    def _placed(self, name: str, value: str) -> Found:
        """What stands in a place; what somebody typed stays."""
        if name not in TYPED_PLACES or not value:
            return self._value(value)
        # With a joint in it, it may have swallowed what comes after.
        return Found(value, _letters(value) if _JOINT.search(value) else 0)

    def _value(self, value: str) -> Found:
        bare = value.strip()
        found = self._found(bare) if bare else None
        if found is None:
            return Found(value, _letters(bare) if len(bare) > 1 else 0)  # an s, of several
        return Found(value.replace(bare, found.told), found.unknown)

    def _in_other_case(self, text: str) -> Found | None:
        """A clause that was given a capital, or lost it."""
        first = text[0]
        if not first.isalpha():
            return None
        other = (first.lower() if first.isupper() else first.upper()) + text[1:]
        whole = self._whole.get(other)
        found = Found(whole) if whole else self._matched(other)
        if found is None:
            return None
        told = found.told
        return Found((told[0].upper() if first.isupper() else told[0].lower()) + told[1:], found.unknown)

    def _without_stop(self, text: str) -> Found | None:
        """Before a full stop, or the number of a rule."""
        end = _END.search(text)
        found = self._found(text[: end.start()]) if end and end.start() else None
        return None if end is None or found is None else Found(found.told + end[0], found.unknown)

    def _chained(self, text: str) -> Found | None:
        return self._in_pieces(text, CLAUSES)

    def _listed(self, text: str) -> Found | None:
        return self._in_pieces(text, LISTS)

    def _in_pieces(self, text: str, joints: tuple[str, ...]) -> Found | None:
        return _best(self._joined(text, joint) for joint in joints)

    def _joined(self, text: str, joint: str) -> Found | None:
        """Piece by piece, as many pieces together as are recognised whole."""
        pieces = _split(text, joint)
        if not 1 < len(pieces) <= MOST_PIECES:
            return None
        told: list[str] = []
        unknown, start = 0, 0
        while start < len(pieces):
            ends = range(len(pieces) - (start == 0), start, -1)
            several = ((end, self._value((" " if joint == ". " else joint).join(pieces[start:end]))) for end in ends)
            end, found = next(((end, found) for end, found in several if found.is_whole or end == start + 1))
            if not found.is_whole and joint in WEAK:
                return None
            told.append(found.told)
            unknown, start = unknown + found.unknown, end
        return Found(self._joint(joint).join(told), unknown) if unknown < _letters(text) else None

    def _joint(self, joint: str) -> str:
        word = joint.strip(" ,")
        return " " if joint == ". " else joint.replace(word, self._whole.get(word, word)) if word else joint


def _best(found: Iterable[Found | None]) -> Found | None:
    """The first that is whole, else the one with least left over."""
    best: Found | None = None
    for each in found:
        if each is not None and (best is None or each.unknown < best.unknown):
            best = each
            if each.is_whole:
                break
    return best


def _letters(text: str) -> int:
    return sum(character.isalpha() for character in _QUOTED.sub("", text))


def _split(text: str, joint: str) -> list[str]:
    """At the joints that lie in no quotation; a full stop stays with its sentence."""
    spans = [found.span() for found in _QUOTED.finditer(text)]
    pieces, start, at = [], 0, text.find(joint)
    while at >= 0:
        if not any(low < at < high for low, high in spans):
            pieces.append(text[start : at + (joint == ". ")])
            start = at + len(joint)
        at = text.find(joint, at + 1)
    return [*pieces, text[start:]]


def _forms(message: str, told: str) -> Iterator[tuple[str, str]]:
    """The message, and without the joint that it begins with or the stop at its end, for it may have been cut there."""
    yield message, told
    if message.endswith(".") and told.endswith("."):
        yield message[:-1], told[:-1]
    for joint in ("; ", ", ", ": ", ". "):
        if message.startswith(joint) and told.startswith(joint):
            yield message[2:], told[2:]


def _pattern(message: str, told: str) -> Pattern:
    pieces: list[str] = []
    at = 0
    seen: set[str] = set()
    for place in _PLACE.finditer(message):
        pieces.append(re.escape(message[at : place.start()]))
        pieces.append(f"(?P={place[1]})" if place[1] in seen else f"(?P<{place[1]}>.*?)")
        seen.add(place[1])
        at = place.end()
    pieces.append(re.escape(message[at:]))
    letters = sum(character.isalpha() for character in _PLACE.sub("", message))
    if re.match(r"[A-Z][a-z]+ ", message):
        letters += STRONG_LETTERS  # a beginning that is no value's
    return Pattern(letters, re.compile("".join(pieces), re.DOTALL), told, frozenset(_QUOTED_PLACE.findall(message)))


@cache
def sentences(language: str) -> Sentences | None:
    """None for English, in which everything is said already."""
    return None if language == ENGLISH else Sentences(spoken(language), DECIMAL_MARKS[language])
