"""The part as a PDF, drawn when it is first asked for: no choice has to wait for it."""

from __future__ import annotations

import json
from hashlib import sha256

from arranger.report.part_pdf import part_pdf
from arranger.web.store import Work, put

NAME = "part.pdf"
_OF = "part.of"  #: tells of which draft the PDF is


def print_part(work: Work) -> None:
    """Draw the part of a work's draft, unless that has been done; nothing if there is no draft.

    Raises
    ------
    EngravingError
        The draft cannot be drawn.
    """
    folder = work.folder / "draft"
    score, stamp = folder / "draft.musicxml", folder / _OF
    while score.is_file():
        drawn = score.read_bytes()
        mark = sha256(drawn).hexdigest().encode()
        if (folder / NAME).is_file() and stamp.is_file() and stamp.read_bytes() == mark:
            return  # and no other draft has come in its place meanwhile
        put(folder / NAME, part_pdf(json.loads((folder / "report.json").read_bytes()), drawn))
        put(stamp, mark)
