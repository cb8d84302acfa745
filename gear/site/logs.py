"""Log lines: one JSON object a line, every control character escaped, so that no input can forge one."""

import json
import logging
from datetime import UTC, datetime


class OneLineJson(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "from": record.name,
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line)  # ASCII only: line separators and direction marks of Unicode are escaped too
