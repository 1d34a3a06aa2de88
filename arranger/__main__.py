"""Run the command line: what ``python -m arranger`` and the command ``arranger`` start."""

import signal
import sys
from types import FrameType


class Interrupted(KeyboardInterrupt):
    """Ctrl-C, or an end asked for.

    A class of its own: CPython notes a ``KeyboardInterrupt`` that leaves code made from text, such
    as a dataclass in the making, and then ends by the signal, whatever status is asked for.
    """


def run() -> None:
    """Run the command line; an interruption ends it with one line, from the first import on."""
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _interrupt)
    try:
        from arranger.cli import main
        main()
    except KeyboardInterrupt:
        sys.stderr.write("arranger: interrupted\n")
        sys.exit(130)


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise Interrupted


if __name__ == "__main__":
    run()
