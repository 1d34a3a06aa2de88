"""``serve``: the workbench on the loopback address, until it is interrupted."""

from __future__ import annotations

import contextlib
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import uvicorn

from arranger.io.files import read_bytes
from arranger.model.errors import ChoiceError
from arranger.web.app import make_app
from arranger.web.store import LARGEST, Store

ADDRESS = "127.0.0.1"
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class _Server(uvicorn.Server):
    """Ends quietly at an interruption: that is how it is meant to end."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Hear the signals, and leave them as they were."""
        before = {number: signal.signal(number, self.handle_exit) for number in _SIGNALS}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def serve(source: Path | None, port: int, folder: Path, say: Callable[[str], None]) -> None:
    """Answer on the loopback address until SIGINT or SIGTERM.

    Parameters
    ----------
    source : a score to begin with.
    port : 0 takes any that is free.

    Raises
    ------
    SourceError
        The score or the folder cannot be used, or another server has the folder.
    ChoiceError
        The port is taken.
    """
    content = read_bytes(source, LARGEST) if source else b""
    store = Store(folder)
    with store.alone(), _opened(port) as listening:
        port = listening.getsockname()[1]
        path = f"works/{store.add(source.name, content).id}" if source else ""
        config = uvicorn.Config(make_app(store, port), log_level="error", access_log=False,
                                lifespan="on", ws="none", server_header=False, proxy_headers=False,
                                timeout_graceful_shutdown=2, timeout_keep_alive=20,
                                h11_max_incomplete_event_size=16 * 2**10)
        say(f"Open http://{ADDRESS}:{port}/{path} in a browser. Ctrl-C ends it; scores and choices "
            f"are kept in {folder}")
        _Server(config).run(sockets=[listening])
    say("Ended. Everything is kept.")


@contextlib.contextmanager
def _opened(port: int) -> Iterator[socket.socket]:
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((ADDRESS, port))
        except OSError as error:
            raise ChoiceError(f"port {port} cannot be used: {(error.strerror or '').lower()}; give "
                              f"another with --port, or --port 0 for any") from error
        listening.listen(128)
        yield listening
