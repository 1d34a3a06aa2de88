"""A survey past one machine: the same measuring as tasks of a Dask cluster.

The bytes of each file travel with its task, so the machines need no common disk. Each task works in
a process of its own with the limits of a local survey; a task whose worker dies goes to another.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from arranger.commands.request import Request
from arranger.commands.survey_pool import DEAD, measured_alone
from arranger.commands.survey_worker import asked, request_of
from arranger.io.files import read_bytes
from arranger.io.musicxml_tree import LARGEST_XML
from arranger.model.errors import ChoiceError

#: Seconds until an address counts as wrong.
PATIENCE = 10
#: Files that are on their way at once, for each thread of the cluster: no queue of a library.
AHEAD = 4


def measured_by(address: str, requests: Sequence[Request]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield the number of each request with its figures, in the order in which they are ready.

    Raises
    ------
    ChoiceError
        Dask is not installed, or no scheduler answers at the address.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise ChoiceError("--cluster needs Dask; install the extra: pip install "
                          "'arranger[cluster]'") from error
    try:
        client = Client(address, timeout=PATIENCE)
    except (OSError, TimeoutError, ValueError) as error:
        raise ChoiceError(f"no cluster answers at {address}; give the address of a Dask "
                          f"scheduler, such as tcp://host:8786") from error
    with client:
        waiting = iter(enumerate(requests))
        ahead = AHEAD * max(1, sum(client.nthreads().values()))
        numbers: dict[str, int] = {}

        def submitted() -> Any:
            for number, request in waiting:
                content = read_bytes(request.source, LARGEST_XML)
                future = client.submit(measured_there, content, request.source.suffix,
                                       asked(request), pure=False, retries=2)
                numbers[future.key] = number
                return future
            return None

        first = [f for f in (submitted() for _ in range(ahead)) if f is not None]
        ready = as_completed(first)
        for future in ready:
            number = numbers.pop(future.key)
            failed = future.status != "finished"
            yield number, {"refused": DEAD} if failed else future.result()
            future.release()
            more = submitted()
            if more is not None:
                ready.add(more)


def measured_there(content: bytes, suffix: str, told: dict[str, Any]) -> dict[str, Any]:
    """Measure one file on the machine of a worker."""
    with tempfile.TemporaryDirectory(prefix="arranger-") as folder:
        path = Path(folder) / f"score{suffix}"
        path.write_bytes(content)
        return measured_alone(request_of({**told, "source": str(path)}))
