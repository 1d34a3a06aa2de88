"""The process that measures scores for a survey: ``python -m arranger.commands.survey_worker``.

One JSON line in (what ``asked`` makes of a request), one JSON line out. It has limits on memory,
and ends when nobody asks any more.
"""

from __future__ import annotations

import io
import json
import os
import signal
import sys
import warnings
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from arranger.commands.request import Request
from arranger.limits import limit_memory
from arranger.model.errors import ArrangerError

#: Address space of the process, in bytes; room for some thousands of bars (assumption).
MEMORY = 2 * 2**30


def asked(request: Request) -> dict[str, Any]:
    """Return what decides the figures of a file as plain values."""
    return {"source": str(request.source), "parts": list(request.parts), "harp": request.harp,
            "player": request.player, "limits": list(request.limits),
            "tempo": None if request.tempo is None else str(request.tempo),
            "transpose": request.transpose}


def request_of(told: Mapping[str, Any]) -> Request:
    """Return the request that ``asked`` told."""
    return Request(Path(told["source"]), tuple(told["parts"]), told["harp"], told["player"],
                   None if told["tempo"] is None else Fraction(told["tempo"]), told["transpose"],
                   tuple(told["limits"]))


def answer(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figures of a score, or why there are none; messages name no folder."""
    from arranger.commands.survey_score import figures  # the planner: 0.4 s to import
    request = request_of(told)
    try:
        return figures(request)
    except ArrangerError as error:
        return {"refused": str(error).replace(f"{request.source}: ", "", 1)}
    except MemoryError:
        return {"refused": "takes more memory than a score may"}
    except Exception as error:  # one bad file never stops the rest
        return {"refused": f"a fault of this program ({type(error).__name__}); please report it "
                           f"with the file"}


def main() -> int:
    """Answer line after line."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started it ends it
    limit_memory(MEMORY)
    warnings.simplefilter("ignore")
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    sys.stdout = io.StringIO()  # whatever a library prints is no answer
    for line in sys.stdin:
        out.write(json.dumps(answer(json.loads(line))) + "\n")
        out.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
