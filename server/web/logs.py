"""What the server says of itself, on standard error: lines for people, or one JSON object a line for programs.

The threat: a log that holds what somebody typed or a means to get in. Events are named by fixed words with a few fields
of ours; of a fault its kind and where it happened are told, never its message, which may quote a value.
"""

import json
import logging
import traceback
from datetime import datetime, timezone
from typing import Literal

LogFormat = Literal["text", "json"]
FIELDS = "fields"  # what a record carries besides its words: logging's ``extra={"fields": {...}}``


class JsonLines(logging.Formatter):
    """``at``, ``level``, ``logger``, ``event``, the record's own fields; of an exception ``fault`` and ``where``."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, timezone.utc).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
        }
        fields = getattr(record, FIELDS, None)
        # Words with values in them are told by their fields, or else as they were written in the program.
        told["event"] = record.msg if isinstance(record.msg, str) and not fields else record.name.rpartition(".")[2]
        if isinstance(fields, dict):
            told |= fields
        if record.exc_info and record.exc_info[0] is not None:
            frames = traceback.extract_tb(record.exc_info[2])
            told["fault"] = record.exc_info[0].__name__
            told["where"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames[-12:]]
        return json.dumps(told, ensure_ascii=True, default=str)


def set_up(log_format: LogFormat, *, log_requests: bool) -> None:
    """Say things in one of the two ways from now on; ``log_requests``: one event for each request too."""
    handler = logging.StreamHandler()
    plain = logging.Formatter("%(asctime)s %(name)s %(levelname)s %(message)s")
    handler.setFormatter(JsonLines() if log_format == "json" else plain)
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("umberday.access").setLevel(logging.INFO if log_requests else logging.WARNING)
    logging.getLogger("umberday.server").setLevel(logging.INFO if log_format == "json" else logging.WARNING)
