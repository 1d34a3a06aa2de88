"""Any source file to a MusicXML tree, by its suffix."""

from __future__ import annotations

import hashlib
from pathlib import Path

from lxml import etree

from arranger.io import musicxml_tree, other_read
from arranger.io.files import read_bytes
from arranger.model.errors import SourceError

MUSICXML = (".musicxml", ".xml", ".mxl")


def open_source(path: Path) -> etree._Element:
    """Return the score-partwise root of a source.

    Raises
    ------
    SourceError
        Unknown suffix, or the file cannot be read; one line.
    """
    suffix = path.suffix.lower()
    if suffix in MUSICXML:
        return musicxml_tree.load(path)
    if suffix in other_read.FORMATS:
        return other_read.load(path)
    known = " ".join(known_suffixes())
    what = f"files of type {suffix}" if suffix else "files without a suffix"
    raise SourceError(f"{path}: {what} are not read; known are {known}")


def known_suffixes() -> tuple[str, ...]:
    """Return the suffixes of files that can be read."""
    return (*MUSICXML, *other_read.FORMATS)


def text_of(path: Path) -> bytes | None:
    """Return the text of a MusicXML file in UTF-8; None for other formats and score-timewise."""
    return musicxml_tree.text_of(path) if path.suffix.lower() in MUSICXML else None


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    return hashlib.sha256(read_bytes(path, musicxml_tree.LARGEST_XML)).hexdigest()
