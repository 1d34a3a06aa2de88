"""MusicXML from the disk to a score-partwise tree; hostile files are refused in one line.

Nothing here knows what a note means; the limits keep any refused file under two seconds and
300 MB (entity bombs, zip bombs, archives that climb out of their folder).
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from pathlib import Path, PurePosixPath

from lxml import etree

from arranger.io.files import read_bytes
from arranger.io.soundness import settle
from arranger.model.errors import SourceError

#: Largest XML that is parsed; full scores of 150-600 bars have 3-5 MB (measured).
LARGEST_XML = 64 * 2**20
#: Largest .mxl that is opened.
LARGEST_ARCHIVE = 32 * 2**20
#: MusicXML shrinks 10 to 60 times when zipped (measured); a bomb shrinks a thousand times.
HIGHEST_RATIO = 200
SMALL = 2**20  # the ratio of smaller files does no harm
MOST_ENTRIES = 1000
#: A tag takes some 250 bytes in the tree, and scores have 20-30 start and end tags for each note
#: (measured), so tags that come without notes are refused beyond the first number.
TAGS, TAGS_PER_NOTE, MOST_TAGS = 200_000, 80, 4_000_000

_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_DECLARED = re.compile(rb"""<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_ENCODINGS = frozenset({"utf-8", "utf8", "us-ascii", "ascii", "iso-8859-1", "latin-1", "latin1",
                        "iso-8859-15", "windows-1252", "cp1252", "macintosh"})
_ROOT = re.compile(rb"<([A-Za-z_][\w.:-]*)")
_PROLOG = re.compile(rb"\s+|<\?.*?\?>|<!--.*?-->|<!DOCTYPE[^>\[]*(?:\[.*?\]\s*)?>", re.DOTALL)


def load(path: Path) -> etree._Element:
    """Return the score-partwise root of a .musicxml, .xml or .mxl file.

    The content decides, not the suffix: a zip archive is opened as compressed MusicXML, anything
    else is read as XML in UTF-8, UTF-16 or a declared Latin encoding.

    Raises
    ------
    SourceError
        The file cannot be read, is not MusicXML, or is built to do harm.
    """
    return parse(_content(path), str(path))


def text_of(path: Path) -> bytes | None:
    """Return the text of a score-partwise file in UTF-8, byte for byte where it is in UTF-8.

    None for score-timewise, whose tree is another than its text. SourceError as for ``load``.
    """
    text = _as_utf8(_content(path), str(path))
    if b"<score-partwise" not in text:
        return None
    declared = _DECLARED.match(text[:200])
    if declared is None or declared.group(1).lower() in (b"utf-8", b"utf8"):
        return text
    return text[:declared.start(1)] + b"UTF-8" + text[declared.end(1):]


def _content(path: Path) -> bytes:
    content = read_bytes(path, LARGEST_XML)
    return _from_archive(content, path) if content.startswith(_ZIP) else content


def parse(content: bytes, name: str) -> etree._Element:
    """Return the score-partwise root of MusicXML text; ``name`` is used in messages."""
    text = _as_utf8(content, name)
    _refuse_bombs(text, name)
    parser = etree.XMLParser(encoding="utf-8", resolve_entities=False, no_network=True,
                             load_dtd=False, huge_tree=False, remove_pis=False,
                             remove_blank_text=True)
    try:
        root = etree.fromstring(text, parser)
    except etree.XMLSyntaxError as error:
        raise SourceError(f"{name}: not well-formed XML (truncated or damaged): "
                          f"{_first_line(error)}") from error
    if root.tag == "score-timewise":
        root = _partwise(root)
    if root.find("part") is None:
        raise SourceError(f"{name}: the score has no parts")
    settle(root, name)
    return root


def _as_utf8(content: bytes, name: str) -> bytes:
    if not content.strip(b"\0 \t\r\n"):
        raise SourceError(f"{name}: the file is empty")
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16").encode()
        if content.startswith((b"<\0", b"\0<")):
            return content.decode("utf-16-le" if content[0] else "utf-16-be").encode()
        declared = _DECLARED.match(content.removeprefix(b"\xef\xbb\xbf").lstrip()[:200])
        encoding = declared.group(1).decode().lower() if declared else "utf-8"
        if encoding in ("utf-8", "utf8"):
            return content.removeprefix(b"\xef\xbb\xbf").lstrip()
        if encoding not in _ENCODINGS:
            raise SourceError(f"{name}: text encoding {encoding} is not read; save it as UTF-8")
        return content.decode("mac_roman" if encoding == "macintosh" else encoding).encode()
    except UnicodeDecodeError as error:
        raise SourceError(f"{name}: not readable text ({error.reason})") from error


def _refuse_bombs(text: bytes, name: str) -> None:
    """Refuse by counting bytes, before a parser builds anything."""
    if b"<!ENTITY" in text:
        raise SourceError(f"{name}: defines XML entities, which no score needs; not read")
    at = 0
    while found := _PROLOG.match(text, at):
        at = found.end()
    root = _ROOT.match(text, at)
    if root is None:
        raise SourceError(f"{name}: not XML, so not MusicXML")
    tag = root.group(1).decode()
    if tag not in ("score-partwise", "score-timewise"):
        raise SourceError(f"{name}: XML, but not a MusicXML score (its root is <{tag[:40]}>)")
    notes = text.count(b"<note")
    if not notes:
        raise SourceError(f"{name}: no notes in it")
    allowed = min(MOST_TAGS, max(TAGS, TAGS_PER_NOTE * notes))
    if max(text.count(b"<"), text.count(b"=")) > allowed:
        raise SourceError(f"{name}: far too many XML tags or attributes for {notes} notes")


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or ["no content"])[0][:160]


def _from_archive(content: bytes, path: Path) -> bytes:
    """Return the bytes of the score in a .mxl archive, never more than the limits allow."""
    if len(content) > LARGEST_ARCHIVE or content.count(b"PK\x01\x02") > MOST_ENTRIES:
        raise SourceError(f"{path}: archive with too much in it to be a score")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for entry in archive.namelist():
                _refuse_climbing(entry, path)
            return _entry(archive, _root_file(archive, path), path)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError,
            RuntimeError, ValueError) as error:
        raise SourceError(f"{path}: damaged or unsupported .mxl archive: "
                          f"{_first_line(error)}") from error


def _root_file(archive: zipfile.ZipFile, path: Path) -> str:
    """Return the name of the score; without a container, the only score in the archive."""
    container = "META-INF/container.xml"
    if container not in archive.namelist():
        raise SourceError(f"{path}: .mxl without {container}, so no score can be found in it")
    text = _entry(archive, container, path)
    if b"<!ENTITY" in text:
        raise SourceError(f"{path}: defines XML entities, which no score needs; not read")
    try:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        root = etree.fromstring(text, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise SourceError(f"{path}: {container} is not well-formed XML") from error
    for entry in root.iter("{*}rootfile"):
        name = entry.get("full-path", "")
        media = entry.get("media-type", "")
        if name and (not media or "musicxml" in media or media.endswith("xml")):
            _refuse_climbing(name, path)
            if name not in archive.namelist():
                raise SourceError(f"{path}: {container} names {name}, which is not in the archive")
            return name
    raise SourceError(f"{path}: {container} names no score")


def _refuse_climbing(entry: str, path: Path) -> None:
    plain = entry.replace("\\", "/")
    if plain.startswith("/") or ":" in plain or ".." in PurePosixPath(plain).parts:
        raise SourceError(f"{path}: archive entry {entry[:80]!r} points outside the archive")


def _entry(archive: zipfile.ZipFile, name: str, path: Path) -> bytes:
    info = archive.getinfo(name)
    allowed = min(LARGEST_XML, max(SMALL, HIGHEST_RATIO * info.compress_size))
    if info.file_size <= allowed:
        with archive.open(info) as stream:
            content = stream.read(allowed + 1)
        if len(content) <= allowed:
            return content
    raise SourceError(f"{path}: {name} unpacks to far more than a score needs (zip bomb?)")


def _partwise(timewise: etree._Element) -> etree._Element:
    """Turn measures of parts into parts of measures; elements are moved, not copied."""
    root = etree.Element("score-partwise")
    _copy_attributes(timewise, root)
    parts: dict[str, etree._Element] = {}
    for child in list(timewise):
        if child.tag != "measure":
            root.append(child)
            continue
        for piece in list(child.iterchildren("part")):
            ident = piece.get("id", "")
            if ident not in parts:
                parts[ident] = etree.Element("part", {"id": ident})
            measure = etree.SubElement(parts[ident], "measure")
            _copy_attributes(child, measure)
            measure.extend(list(piece))
    root.extend(parts.values())
    return root


def _copy_attributes(source: etree._Element, target: etree._Element) -> None:
    for name, value in source.attrib.items():
        target.set(name, value)
