"""Log lines for a terminal or for the system journal, which wants each line's weight in front."""
import logging
import os
import sys

#: logging level -> syslog priority (sd-daemon(3))
PRIORITIES = ((logging.ERROR, "<3>"), (logging.WARNING, "<4>"), (logging.INFO, "<6>"), (0, "<7>"))


class Line(logging.Formatter):
    """One line, with its priority in front when the journal reads it."""

    def __init__(self, journal: bool) -> None:
        super().__init__("%(message)s" if journal else "%(asctime)s %(levelname)s %(message)s", "%H:%M:%S")
        self._journal = journal

    def format(self, record: logging.LogRecord) -> str:
        text = super().format(record)
        if not self._journal:
            return text
        prefix = next(mark for level, mark in PRIORITIES if record.levelno >= level)
        return "\n".join(prefix + line for line in text.splitlines())


def begin(level: int = logging.INFO) -> None:
    """Our own lines from that level on, other libraries' from WARNING, to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(Line("JOURNAL_STREAM" in os.environ))
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    logging.getLogger("ampledger").setLevel(level)
