"""What is sent along to report a wrong answer: source, draft, report, versions, in one zip."""

from __future__ import annotations

import io
import platform
import zipfile
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path
from typing import Any

from arranger.io.files import read_bytes
from arranger.io.musicxml_tree import LARGEST_XML
from arranger.report.json_report import dumps

#: Distributions whose versions can matter.
_VERSIONS = ("arranger", "lxml", "music21", "numpy", "scipy", "verovio")
_README = """\
A wrong answer of the harp arranger, to be sent to its maintainers.

source/       the score as it was read
draft/        what was made of it
report.json   settings, every alteration, every finding
versions.txt  the program and what it stands on

Write here, or in the letter: the bar, what is wrong there, what a harpist would do.

Bar:
What is wrong:
Better:
"""


def bundle(source: Path, body: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """Return a zip of all that is needed to see the answer again; the same input, the same bytes.

    Parameters
    ----------
    source : the score that was read; its folder is not told.
    body : the report object.
    files : what was written; the page is left out, for it tells nothing new.
    """
    entries = {"README.txt": _README.encode(),
               f"source/{source.name}": read_bytes(source, LARGEST_XML),
               "report.json": dumps(body), "versions.txt": _versions().encode(),
               **{f"draft/{name}": content for name, content in files.items()
                  if name.endswith((".musicxml", ".mid"))}}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content,
                             zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _versions() -> str:
    lines = [f"Python {platform.python_version()} on {platform.system()}"]
    for name in _VERSIONS:
        try:
            lines.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            lines.append(f"{name} not installed as a package")
    return "\n".join(lines) + "\n"
