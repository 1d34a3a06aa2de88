"""Run the command line: what ``python -m arranger`` and the command ``arranger`` start."""

import _thread
import signal
import sys
import threading
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
    sys.unraisablehook = _again
    try:
        from arranger.cli import main
        main()
    except (KeyboardInterrupt, SystemError) as error:
        if not _by_interruption(error):
            raise
        sys.stderr.write("arranger: interrupted\n")
        sys.exit(130)


def _by_interruption(error: BaseException | None) -> bool:
    """Tell an interruption, also as the cause of an error: a compiled loop makes it one."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__
    return error is not None


def _interrupt(number: int, _frame: FrameType | None) -> None:
    raise Interrupted(number)


def _again(ignored: "sys.UnraisableHookArgs") -> None:
    """Interrupt a moment later where CPython ignores errors: a finalizer, a call back from C."""
    if isinstance(ignored.exc_value, Interrupted):
        threading.Timer(0.01, _thread.interrupt_main, ignored.exc_value.args).start()
    else:
        sys.__unraisablehook__(ignored)


if __name__ == "__main__":
    run()
