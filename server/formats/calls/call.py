"""What a stateless call is, and the list of them.

A call's module is loaded when it is first asked for: the command for one need not wait for the others to load.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib import import_module
from typing import Any

from pydantic import BaseModel
from pydantic_core import to_json

from server.formats.calls.layer_in import Collector

NAMES = ("estimate", "soundness", "learn", "plan")  # each has a module here with its ``CALL``


def text_of(answers: Sequence[dict[str, Any]]) -> str:
    """Answers as JSON in plain ASCII, whatever the terminal's encoding."""
    return to_json(answers, ensure_ascii=True).decode("ascii")


@dataclass(frozen=True, slots=True)
class Call:
    """``prepare`` takes a checked request, the present instant and a collector of faults; ``answer_many`` takes what
    it made of each request and answers in the same order. ``as_text`` writes a list of answers, where there is a
    quicker way than the usual."""

    request: type[BaseModel]
    answer: type[BaseModel]
    prepare: Callable[[Any, datetime, Collector], Any]
    answer_many: Callable[[Sequence[Any]], list[dict[str, Any]]]
    as_text: Callable[[Sequence[dict[str, Any]]], str] = text_of


@cache
def find(name: str) -> Call:
    """The call of one of ``NAMES``."""
    call: Call = import_module(f"server.formats.calls.{name}").CALL
    return call
