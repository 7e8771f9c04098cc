"""The messages in the program: its string literals that people read, found in the source, without marks.

A literal counts when it looks like words (a capital at the start, or several words) and does not stand where only the
program reads (a key, a comparison, a pattern, the text of the interface for programs). In a formatted string each
value stands as ``{name}``. Words of a single lower-case word count in the tables of words: names that end in ``WORDS``,
``NAMES``, ``LABELS`` or ``STAGES``, and where a count is told (``count_words(n, "layer")``).
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

# What is read by programs, or on the console, stays English.
NOT_PAGES = (
    "web/api/",
    "web/language/",
    "formats/calls/",
    "store/",
    "services/archive/",
    "__main__.py",
    "web/serve.py",
    "web/settings.py",
    "web/logs.py",
    "web/upkeep.py",
    "web/locales.py",
    "services/upkeep.py",
    "services/people/console.py",
    "services/lists/write.py",
    "formats/readings/sent.py",
    "formats/readings/columns.py",
    "web/pages/parts.py",
)
NOT_READ_BY = frozenset(
    {
        "APIRouter",
        "AssertionError",
        "Body",
        "Column",
        "Cookie",
        "Depends",
        "Field",
        "File",
        "ForeignKey",
        "Form",
        "Header",
        "KeyError",
        "Literal",
        "NewType",
        "NotImplementedError",
        "Path",
        "Query",
        "RuntimeError",
        "TypeError",
        "TypeVar",
        "compile",
        "debug",
        "encode",
        "endswith",
        "exception",
        "execute",
        "fullmatch",
        "getLogger",
        "info",
        "match",
        "open",
        "partition",
        "print",
        "removeprefix",
        "removesuffix",
        "replace",
        "rpartition",
        "search",
        "split",
        "startswith",
        "strftime",
        "strptime",
        "sub",
        "text",
        "warning",
    }
)
NOT_READ_AS = frozenset({"description", "examples", "summary", "pattern", "media_type", "responses", "tags"})
WORD_TABLES = re.compile(r"(?i).*(words|names|labels|stages|said|told|kinds|conditions)$")
NO_WORDS_IN = re.compile(r"__all__$|__slots__$|FIRST_")  # names that a new studio begins with are stored, and stay
LEAST_WORDS_OF_A_KEY = 3
IN_TABLES = (ast.Tuple, ast.List, ast.Dict, ast.Call, ast.keyword, ast.Starred)
COUNTED = {"count_words": 1, "plural": 1, "counted": 1}
_WORDS = re.compile(
    r"[“‘(]?[A-Z][a-z]+|.*[A-Za-z]{2,},? (?:[a-z] )?[A-Za-z]{2,}|[A-Z] [a-z]|.*\{\w+\} [a-z]{2,}|.*[a-z]{2,},? \{"
)
_CODE = re.compile(
    r"[/#<]|\.\w|.*[=<>]\w|.*[a-z]_[a-z]|M\d|HX-|SELECT|INSERT|UPDATE|PRAGMA|[a-z]+/[a-z]|[A-Z][a-z]+-?[A-Z]", re.DOTALL
)
_LETTERS = re.compile(r"[A-Za-z]{2}")
_PLACES = re.compile(r"\{\w+\}")


def texts(server: Path) -> Iterator[tuple[str, int, str]]:
    """(path, line, message) for every message under the server's folder."""
    for path in sorted(server.rglob("*.py")):
        name = path.relative_to(server).as_posix()
        if not name.startswith(NOT_PAGES):
            for line, message in _of(ast.parse(path.read_text(encoding="utf-8"))):
                yield name, line, message


def _of(tree: ast.Module) -> Iterator[tuple[int, str]]:
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        text = _text(node)
        if text is None or not _is_shown(node, parents):
            continue
        in_table = _is_counted(node, parents) or (_in_word_table(node, parents) and _LETTERS.search(text))
        bare = _PLACES.sub("", text)
        is_words = in_table or (_LETTERS.search(bare) and _WORDS.match(_collapsed(text)))
        if is_words and not _CODE.match(bare):
            yield node.lineno, text  # type: ignore[attr-defined]
            if _is_one_of_count(node, parents):
                yield node.lineno, f"{text}s"  # type: ignore[attr-defined]


def _collapsed(text: str) -> str:
    return " ".join(text.split())


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if not isinstance(node, ast.JoinedStr):
        return None
    names: dict[str, str] = {}
    pieces: list[str] = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            pieces.append(str(part.value))
        elif isinstance(part, ast.FormattedValue):
            pieces.append(f"{{{_name(part.value, names)}}}")
    return "".join(pieces)


def _name(value: ast.expr, taken: dict[str, str]) -> str:
    """The last of the expression's own names; each expression of a string under a name of its own."""
    source = ast.unparse(value)
    bare = re.sub(r"""\([^()]*\)|\[[^\]]*\]|"[^"]*"|'[^']*'""", "", source)
    words = [word for word in re.findall(r"[A-Za-z_]\w*", bare) if word not in ("if", "else", "not", "f", "and", "or")]
    base = words[-1].lower() if words else "value"
    name, number = base, 2
    while taken.get(name, source) != source:
        name, number = f"{base}{number}", number + 1
    taken[name] = source
    return name


def _is_shown(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    parent = parents.get(node)
    if isinstance(parent, ast.Expr | ast.JoinedStr | ast.Compare | ast.Subscript | ast.Assert):
        return False
    if isinstance(parent, ast.Dict) and node in parent.keys and len((_text(node) or "").split()) < LEAST_WORDS_OF_A_KEY:
        return False
    if isinstance(parent, ast.Call) and (_called(parent) in NOT_READ_BY and node in parent.args):
        return False
    while parent is not None:
        if isinstance(parent, ast.Assign) and NO_WORDS_IN.match(ast.unparse(parent.targets[0])):
            return False
        if isinstance(parent, ast.AnnAssign) and node is parent.annotation:
            return False
        if isinstance(parent, ast.arg) or (isinstance(parent, ast.FunctionDef) and node is parent.returns):
            return False
        if isinstance(parent, ast.keyword) and parent.arg in NOT_READ_AS:
            return False
        if isinstance(parent, ast.Call) and _called(parent) in ("Field", "Query", "getLogger"):
            return False
        node, parent = parent, parents.get(parent)
    return True


def _called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def _is_counted(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    parent = parents.get(node)
    return (
        isinstance(parent, ast.Call) and _called(parent) in COUNTED and node in parent.args[COUNTED[_called(parent)] :]
    )


def _is_one_of_count(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether several of it are told with an s."""
    call = parents.get(node)
    return isinstance(call, ast.Call) and _is_counted(node, parents) and len(call.args) == COUNTED[_called(call)] + 1


def _in_word_table(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Within the value of a name for words: ``STATE_WORDS = {FilmState.WET: "wet"}``."""
    parent = parents.get(node)
    while parent is not None and isinstance(parent, IN_TABLES):
        node, parent = parent, parents.get(parent)
    if isinstance(parent, ast.Assign):
        return any(isinstance(target, ast.Name) and WORD_TABLES.match(target.id) for target in parent.targets)
    if isinstance(parent, ast.AnnAssign):
        return isinstance(parent.target, ast.Name) and WORD_TABLES.match(parent.target.id) is not None
    return False
