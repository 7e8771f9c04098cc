"""Writes ``server/web/api/answers.json`` anew: of each interface one answer, as the tests got it, for the document.

    python -m pytest -p tests.web.record_answers -k "not bad_id and not schema" tests/web/test_api_*.py
        tests/web/test_share_changed.py tests/web/test_own_feeds.py tests/web/people/test_api_*.py

Long lists are cut to their first line and tokens masked; everything else is as it was answered, and all of it invented.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.web.security.who_may import TABLE

FILE = Path(__file__).parents[2] / "server" / "web" / "api" / "answers.json"
API = "/api/v1"
DOCUMENT = f"{API}/openapi.json"  # where the answers stand
LONGEST = 400  # characters of a text
TOKENS = re.compile(r"(um[bdo]_|/s/|/f/|/join/)(?:umo_)?[\w-]{40,}")
_PARAMETER = re.compile(r"\{\w+\}")
_PATTERNS = [
    (re.compile("[^/]+".join(map(re.escape, _PARAMETER.split(path)))), path)
    for path in sorted({path for _, path in TABLE if path.startswith(API)}, key=lambda path: path.count("{"))
]
answers: dict[str, Any] = {}
_send = TestClient.send


def _template(method: str, path: str) -> str | None:
    return next((t for pattern, t in _PATTERNS if pattern.fullmatch(path) and (method, t) in TABLE), None)


def cut(value: Any) -> Any:
    """The answer as it stands in the document."""
    if isinstance(value, dict):
        return {name: cut(each) for name, each in value.items()}
    if isinstance(value, list):
        return [cut(each) for each in value[:1]]
    if isinstance(value, str):
        return TOKENS.sub(r"\1TOKEN", value)[:LONGEST]
    return value


def _weight(value: Any) -> int:
    """How much an answer tells: of two the fuller one is kept."""
    return len(json.dumps(value))


def _noting(self: TestClient, request: Any, **options: Any) -> Any:
    answer = _send(self, request, **options)
    is_json = answer.headers.get("content-type", "").startswith("application/json")
    template = _template(request.method, request.url.path) if answer.is_success and is_json else None
    if template and template != DOCUMENT:
        key, told = f"{request.method} {template}", cut(answer.json())
        if key not in answers or _weight(told) > _weight(answers[key]):
            answers[key] = told
    return answer


def pytest_configure() -> None:
    TestClient.send = _noting  # type: ignore[method-assign, assignment]


def pytest_sessionfinish(exitstatus: int) -> None:
    if exitstatus == pytest.ExitCode.OK:
        FILE.write_text(json.dumps(answers, indent=1, ensure_ascii=False, sort_keys=True) + "\n", encoding="utf-8")
