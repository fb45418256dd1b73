"""One JSON object a line. A call note is personal data: nothing of it is ever written here.

Request lines carry the request id, the trace id, the decision id and the key's public id, never the key.
"""

from __future__ import annotations

import json
import logging
import sys
import time
import traceback
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from service.http.context import Marks

LOGGER = logging.getLogger("coldleg")


class JsonFormatter(logging.Formatter):
    """A record as one line: time, level, logger, message, what was given as ``extra={"told": {...}}``.

    Of an exception its type and the places it passed are told, not its message, which may repeat what a caller said.
    """

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(record.created)) + f".{int(record.msecs):03d}Z",
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            "pid": record.process,
        }
        line.update(getattr(record, "told", {}))
        if record.exc_info and record.exc_info[1] is not None:
            error = record.exc_info[1]
            frames = traceback.extract_tb(error.__traceback__)
            line["error"] = type(error).__name__
            line["at"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames]
        return json.dumps(line, ensure_ascii=False, default=str)


def set_up(level: str = "info") -> None:
    """Send this program's log lines to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonFormatter())
    LOGGER.handlers = [handler]
    LOGGER.propagate = False
    LOGGER.setLevel(level.upper())


def request_answered(marks: Marks, method: str, route: str, status: int, seconds: float) -> None:
    """The line of one request."""
    if not LOGGER.isEnabledFor(logging.INFO):
        return
    told = {
        "request_id": marks.request_id,
        "trace_id": marks.trace_id,
        "decision_id": marks.decision,
        "key": marks.key,
        "method": method,
        "route": route,
        "status": status,
        "ms": round(seconds * 1000, 2),
    }
    LOGGER.info("request", extra={"told": {name: value for name, value in told.items() if value is not None}})


def failed(marks: Marks, route: str, error: BaseException) -> None:
    """The line of a failure that is ours."""
    LOGGER.error("failure", extra={"told": {"request_id": marks.request_id, "route": route}}, exc_info=error)
