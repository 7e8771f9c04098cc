"""Which words of a template are read by people, and the same template in another language.

Templates stay in plain English, without marks: every run of text between tags is a message by itself, so that none can
be forgotten. ``texts`` lists the messages of a template; ``told_in`` gives its source with them exchanged, once when
it is compiled. Within a message an expression stands as ``{name}`` and an inline tag as ``<a>…</a>``; a translation
may put both in another order, but needs each of them.

What an expression puts between the tags is told by ``sentences`` when the page is made (the filter ``told``),
unless the painter typed it (``TYPED``).

Beside running text these count as read: string literals in expressions that look like words (a capital at the start, or
several words), those marked ``_("…")``, and the attributes of ``READ_ATTRIBUTES``.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from jinja2.ext import Extension

READ_ATTRIBUTES = ("title", "alt", "aria-label", "placeholder", "label", "data-told")
INLINE_TAGS = frozenset("a abbr b cite code del em i ins kbd mark small span strong sub sup time var".split())  # noqa: SIM905
# Macros and functions that put words into a sentence; any other call makes a part of its own.
INLINE_CALLS = frozenset({"term", "status", "shape", "panel_size", "ten_words", "unit_words"})
# Expressions that put back what somebody typed, cite a source, or tell of the interface for programs.
TYPED = re.compile(
    r"form\.value\(|new_key\(|\.cite \||^each\.(?:summary|told)$"
    r"|(?<!rule)(?<!found)(?<!finding)(?<!family)(?<!worst)(?<!told)(?:^|[._])"
    r"(?:title|notes?|due_for|override_reason|person_name|studio_name|region"
    r"|sources?|cite|full|chemistry|composition_range|drying_reason|hazard)$"
)
WITHOUT_WORDS = ("include", "import", "from", "extends", "block", "endblock", "if", "elif", "for")

_JINJA = r"\{% block body_class %\}.*?\{% endblock %\}|\{#.*?#\}|\{\{.*?\}\}|\{%.*?%\}"
_TAG = rf"</?(?:[a-zA-Z]|\{{\{{)(?:{_JINJA}|[^<>{{]|\{{(?![{{%#]))*>"
_TOKEN = re.compile(rf"(?P<jinja>{_JINJA})|(?P<tag>{_TAG})|(?P<text>(?:(?!{_JINJA}|{_TAG}).)+)", re.DOTALL)
_ATTRIBUTE = re.compile(rf"""(?<=\s)({"|".join(READ_ATTRIBUTES)})="((?:{_JINJA}|[^"{{]|\{{(?![{{%#]))*)\"""", re.DOTALL)
_LITERAL = re.compile(r"""(?P<quote>["'])(?P<text>(?:\\.|(?!(?P=quote)).)*)(?P=quote)""", re.DOTALL)
_COUNTED = re.compile(r"\|\s*count\($")
_OPEN_VALUE = re.compile(r"""[\w-]+="[^"<>]*$""")
_SUBSCRIPT = re.compile(r"[\w)\]]\[$")
_LETTERS = re.compile(r"[A-Za-z]{2}|\b[AI]\b")
_WORDS = re.compile(r"[“‘(]?[A-Z][a-z]+|.*[A-Za-z]{2,},? (?:[a-z] )?[A-Za-z]{2,}|[A-Z] [a-z]")
_CODE = re.compile(r"[/#.]|.*[=<>_]|M\d|[A-Z][a-z]+-[A-Z]")
_TAG_NAME = re.compile(r"</?\s*([a-zA-Z][a-zA-Z0-9]*)")
_PLACE = re.compile(r"\{(\w+)\}|</?([a-z]+\d*)>")

_EXPRESSION = re.compile(r"(?P<opens>\{\{-?)\s*(?P<inner>.*?)\s*(?P<closes>-?\}\})", re.DOTALL)

Translate = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of a template: ``text``, ``expression``, ``tag`` or ``other`` (a statement, a comment)."""

    kind: str
    source: str


@dataclass(frozen=True, slots=True)
class Message:
    """Words as a translator reads them, and what stands for each of its places in the source."""

    text: str
    places: Mapping[str, str]


class InLanguage(Extension):
    """Compiles templates by the environment's ``translate``; where that is None, as they are."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        translate: Translate | None = getattr(self.environment, "translate", None)
        return source if translate is None else told_in(source, translate, tells=True)


def texts(source: str) -> list[str]:
    """The messages of a template, in order, each as often as it stands there."""
    found: list[str] = []

    def noted(message: str) -> str:
        found.append(message)
        return message

    told_in(source, noted)
    return found


def told_in(source: str, translate: Translate, tells: bool = False) -> str:
    """The source with every message exchanged for what ``translate`` gives; with ``tells`` every expression that is
    read passes the filter ``told`` as well. Raises ValueError for a translation that lacks a place of its message, or
    has one too many."""
    teller = Teller(translate, tells)
    return "".join(teller.run(run) for run in _runs(list(_tokens(source))))


def _tokens(source: str) -> Iterator[Token]:
    is_value = False  # within an attribute that stands outside of its tag, in a macro
    for found in _TOKEN.finditer(source):
        piece = found[0]
        if found["tag"] is not None:
            yield Token("tag", piece)
        elif found["text"] is not None:
            is_value = _OPEN_VALUE.search(piece) is not None or (is_value and '"' not in piece)
            yield Token("other" if is_value else "text", piece)
        else:
            yield Token("expression" if piece.startswith("{{") and not is_value else "other", piece)


def _runs(tokens: list[Token]) -> Iterator[list[Token]]:
    """Tokens that make a sentence together; each that belongs to none alone."""
    run: list[Token] = []
    for token in tokens:
        if _is_inline(token):
            run.append(token)
            continue
        yield from _whole(run)
        yield [token]
        run = []
    yield from _whole(run)


def _is_inline(token: Token) -> bool:
    if token.kind == "tag":
        name = _TAG_NAME.match(token.source)
        return name is not None and name[1].lower() in INLINE_TAGS
    if token.kind == "expression":
        call = re.match(r"\{\{-?\s*(\w+)\(", token.source)
        return call is None or call[1] in INLINE_CALLS
    return token.kind == "text"


def _whole(run: list[Token]) -> Iterator[list[Token]]:
    """The run cut at tags whose other half lies outside of it, and freed of what surrounds its words."""
    lonely = _lonely_tags(run)
    part: list[Token] = []
    for index, token in enumerate(run):
        if index in lonely:
            yield from _trimmed(part)
            yield [token]
            part = []
        else:
            part.append(token)
    yield from _trimmed(part)


def _lonely_tags(run: list[Token]) -> set[int]:
    lonely: set[int] = set()
    opened: list[int] = []
    for index, token in enumerate(run):
        if token.kind != "tag":
            continue
        if not token.source.startswith("</"):
            opened.append(index)
        elif opened and _name(run[opened[-1]]) == _name(token):
            opened.pop()
        else:
            lonely.add(index)
    return lonely | set(opened)


def _name(tag: Token) -> str:
    found = _TAG_NAME.match(tag.source)
    return found[1].lower() if found else ""


def _trimmed(part: list[Token]) -> Iterator[list[Token]]:
    """Ends without words of their own stand outside: white space, a shape or figure apart, tags around the whole."""
    start, end = 0, len(part)
    while start < end and _is_apart(part, start, start + 1):
        start += 1
    while end > start and _is_apart(part, end - 1, end - 2):
        end -= 1
    middle = part[start:end]
    if len(middle) > 2 and middle[0].kind == "tag" and _closes(middle) == len(middle) - 1:
        yield from ([token] for token in (*part[:start], middle[0]))
        yield from _trimmed(middle[1:-1])
        yield from ([token] for token in (middle[-1], *part[end:]))
        return
    yield from ([token] for token in part[:start])
    if middle:
        yield middle
    yield from ([token] for token in part[end:])


def _is_apart(part: list[Token], at: int, inward: int) -> bool:
    token = part[at]
    if token.kind == "text":
        return not token.source.strip()
    if token.kind != "expression" or not re.match(r"\{\{-?\s*(status|shape)\(", token.source):
        return False
    return not 0 <= inward < len(part) or part[inward].kind != "text" or not part[inward].source.strip()


def _closes(run: list[Token]) -> int:
    """Where the tag that the run begins with is closed."""
    depth = 0
    for index, token in enumerate(run):
        if token.kind == "tag":
            depth += -1 if token.source.startswith("</") else 1
            if depth == 0:
                return index
    return -1


@dataclass(frozen=True, slots=True)
class Teller:
    """Puts translations into the runs of a template."""

    translate: Translate
    tells: bool

    def run(self, run: list[Token]) -> str:
        words = "".join(token.source for token in run if token.kind == "text")
        if not _LETTERS.search(re.sub(r"&\w+;", "", words)):
            return "".join(self.token(token) for token in run)
        source = "".join(token.source for token in run)
        lead = source[: len(source) - len(source.lstrip())]
        tail = source[len(source.rstrip()) :]
        message = self._message(run)
        return f"{lead}{_placed(message, self.translate(message.text))}{tail}"

    def token(self, token: Token) -> str:
        if token.kind == "tag":
            return _ATTRIBUTE.sub(self._attribute, token.source)
        if token.kind == "text" or not token.source.startswith("{") or token.source.startswith("{#"):
            return token.source
        statement = re.match(r"\{%-?\s*(\w+)", token.source)
        if statement and statement[1] in WITHOUT_WORDS:
            return token.source
        source = self._literals(token.source)
        return self._read(source) if token.kind == "expression" and self.tells else source

    def _read(self, expression: str) -> str:
        found = _EXPRESSION.fullmatch(expression)
        if found is None or TYPED.search(found["inner"]):
            return expression
        return f"{found['opens']} ({found['inner']}) | told {found['closes']}"

    def _attribute(self, found: re.Match[str]) -> str:
        told = "".join(self.run(run) for run in _runs(list(_tokens(found[2]))))
        return f'{found[1]}="{told}"'

    def _literals(self, source: str) -> str:
        pieces: list[str] = []
        at = 0
        for found in _LITERAL.finditer(source):
            before, after = source[: found.start()].rstrip(), source[found.end() :].lstrip()
            text = found["text"]
            if _COUNTED.search(before):
                self._counted(text, after)
                continue
            if not (before.endswith("_(") or (_is_read(text) and not _is_compared(before, after))):
                continue
            quote = found["quote"]
            pieces += [source[at : found.start()], quote, self.translate(text).replace(quote, "\\" + quote), quote]
            at = found.end()
        return "".join((*pieces, source[at:]))

    def _counted(self, one: str, after: str) -> None:
        """What is counted is told by ``sentences``, with its number; here it is only noted, as one and as several."""
        several = re.match(r""",\s*["'](.+?)["']""", after)
        for form in (one, several[1] if several else f"{one}s"):
            self.translate(form)

    def _message(self, run: list[Token]) -> Message:
        places: dict[str, str] = {}
        closing: list[str] = []
        text: list[str] = []
        for token in run:
            if token.kind == "text":
                text.append(token.source)
            elif token.kind == "expression":
                told = self.token(token)
                name = _free(places, _called(token.source), told)
                places[name] = told
                text.append(f"{{{name}}}")
            elif token.source.startswith("</"):
                name = closing.pop()
                places["/" + name] = token.source
                text.append(f"</{name}>")
            else:
                told = self.token(token)
                name = _free(places, _name(token), told)
                closing.append(name)
                places[name] = told
                text.append(f"<{name}>")
        return Message(" ".join("".join(text).split()), places)


def _is_read(literal: str) -> bool:
    return _WORDS.match(literal) is not None and _CODE.match(literal) is None


def _is_compared(before: str, after: str) -> bool:
    """A literal that is compared, or stands for a key: no words to read."""
    is_key = _SUBSCRIPT.search(before) is not None or after.startswith(":")
    return is_key or before.endswith(("==", "!=", " in")) or after.startswith(("==", "!="))


def _called(expression: str) -> str:
    """A short name for an expression: the last of its names before any filter, or what a call is about."""
    inner = expression[2:-2].strip("- \n")
    about = re.match(r"""term\(["'](\w+)["']""", inner)
    if about:
        return about[1]
    bare = re.sub(r"""\([^()]*\)|\[[^\]]*\]|"[^"]*"|'[^']*'""", "", inner.split("|")[0])
    names = [name for name in re.findall(r"[A-Za-z_]\w*", bare) if name not in ("if", "else", "is", "not", "and", "or")]
    return names[-1] if names else "value"


def _free(places: dict[str, str], name: str, source: str) -> str:
    if name not in places or places[name] == source:
        return name
    number = 2
    while f"{name}{number}" in places:
        number += 1
    return f"{name}{number}"


def _placed(message: Message, told: str) -> str:
    if told == message.text and message.places == {}:
        return told
    found = ["/" * match[0].startswith("</") + (match[1] or match[2]) for match in _PLACE.finditer(told)]
    if sorted(set(found)) != sorted(message.places):
        raise ValueError(f"{told!r} needs the places {sorted(message.places)}")

    def put(match: re.Match[str]) -> str:
        return message.places["/" * match[0].startswith("</") + (match[1] or match[2])]

    return _PLACE.sub(put, told)
