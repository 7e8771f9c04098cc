"""``./umberday estimate|soundness FILE.json``: a file or standard input in, JSON on standard output."""

import gc
import json
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

from server.formats.calls.answer import answer
from server.formats.calls.call import find
from server.formats.calls.problems import CallProblem, FieldProblem

MAX_BYTES = 256 * 1024 * 1024


def no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object whose keys are each given once; a repeated key would silently drop a value."""
    found = dict(pairs)
    if len(found) != len(pairs):
        name, _ = Counter(name for name, _ in pairs).most_common(1)[0]
        raise ValueError(f"the field {name[:60]!r} is given twice")
    return found


def parse_json(text: str | bytes) -> Any:
    """Parse JSON; raise CallProblem where it is none."""
    try:
        return json.loads(text, object_pairs_hook=no_repeats)
    except (ValueError, RecursionError) as error:
        reason = "is nested too deeply" if isinstance(error, RecursionError) else f"is not JSON: {error}"
        raise CallProblem([FieldProblem("$", reason)]) from error


@contextmanager
def nothing_collected() -> Iterator[None]:
    """Without looking for garbage: among thousands of answers that takes as long as they do, and there is none."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def run(name: str, file: str, out: TextIO, err: TextIO) -> int:
    """Answer the requests of ``file`` (``-``: standard input). Returns the exit status: 0, or 2 with the problem."""
    try:
        data = sys.stdin.buffer.read(MAX_BYTES + 1) if file == "-" else Path(file).read_bytes()
        if len(data) > MAX_BYTES:
            raise CallProblem([FieldProblem("$", "is too large")])
        with nothing_collected():
            answers = answer(name, parse_json(data), datetime.now(UTC))
    except OSError as error:
        problem = CallProblem([FieldProblem("$", f"cannot read {file}: {error.strerror}")])
        json.dump(problem.as_json(), err)
        err.write("\n")
        return 2
    except CallProblem as problem:
        json.dump(problem.as_json(), err)
        err.write("\n")
        return 2
    text = find(name).as_text(answers) if isinstance(answers, list) else json.dumps(answers)
    out.write(text + "\n")  # in one go: json.dump would use the slow encoder
    return 0
