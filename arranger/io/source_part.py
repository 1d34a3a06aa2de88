"""The arranged part as it stood in the source, for showing it beside the draft."""

from __future__ import annotations

from copy import deepcopy

from lxml import etree

from arranger.io.document import Document
from arranger.io.write_left_hand import take_out


def source_part(document: Document, part_id: str, before: str = "s-") -> bytes:
    """Return a score of one part as read; a struck note has the id ``before`` and its note id.

    Notes that the source has not are left out again.
    """
    part = next(p for p in document.root.findall("part") if p.get("id") == part_id)
    entry = next(e for e in document.root.iterfind("part-list/score-part")
                 if e.get("id") == part_id)
    struck = {chain[0]: ident for ident, chain in document.elements.items()}
    root = etree.Element("score-partwise", version="4.0")
    etree.SubElement(root, "part-list").append(deepcopy(entry))
    copy = deepcopy(part)
    root.append(copy)
    for note, twin in zip(part.iter("note"), copy.iter("note"), strict=True):
        twin.attrib.pop("id", "")
        if note in struck:
            twin.set("id", f"{before}{struck[note]}")
    added = {twin for note, twin in zip(part.iter("note"), copy.iter("note"), strict=True)
             if struck.get(note) in document.score.added}
    for measure in copy.iterfind("measure") if added else ():
        take_out(measure, added)
    return etree.tostring(root)
