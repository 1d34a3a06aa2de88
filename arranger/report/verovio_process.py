"""The process that engraves: ``python -m arranger.report.verovio_process SECONDS``.

A JSON object in (``xml`` and ``options``), a JSON object out: ``pages`` as SVG, or the ``problem``
in words. Verovio is C++ and ends its process on some scores; here that costs the picture only.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from typing import Any

from arranger.limits import limit_memory, limit_time

#: Address space of the process, in bytes: 10,000 bars need 1.4 GB (measured).
MEMORY = 4 * 2**30
#: The same for every drawing.
_FIXED = {"xmlIdSeed": 1,  # the same ids, hence the same bytes, in every run
          "condense": "none",  # both staves always, also where one is at rest
          "svgViewBox": True, "svgRemoveXlink": True, "svgFormatRaw": True}


def drawn(xml: str, options: Mapping[str, object]) -> dict[str, Any]:
    """Return the pages as verovio draws them, or why there are none."""
    try:
        import verovio
    except ImportError:
        return {"problem": "The verovio library is not installed, so the score is not shown."}
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({**_FIXED, **options})
    if not toolkit.loadData(xml) or not toolkit.getPageCount():
        return {"problem": "The engraver cannot draw this draft; the lists are complete."}
    return {"pages": [toolkit.renderToSVG(page)
                      for page in range(1, toolkit.getPageCount() + 1)]}


def main(seconds: int) -> int:
    """Draw what is asked."""
    limit_memory(MEMORY)
    limit_time(seconds)
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints is no answer
    asked = json.load(sys.stdin)
    json.dump(drawn(asked["xml"], asked["options"]), out)
    out.close()
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
