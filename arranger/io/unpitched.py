"""Notes without definite pitch in parts that are arranged, or that no harp could take."""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from arranger.io.harp_clean import Removed


def unpitched(root: etree._Element, chosen: Sequence[str]) -> tuple[Removed, ...]:
    """Count the drum notes of every part: of the chosen ones they are left out.

    A part of drums only is told of where several parts are arranged: the harp leaves it out.
    """
    found = []
    names = {p.get("id"): (p.findtext("part-name") or "").strip()
             for p in root.iterfind("part-list/score-part")}
    for part in root.findall("part"):
        ident = part.get("id", "")
        drums = part.find("measure/note/pitch") is None
        if ident not in chosen and not (drums and len(chosen) > 1):
            continue
        bars = [measure.get("number", "") for measure in part.findall("measure")
                for _ in measure.iterfind("note/unpitched")]
        if bars:
            found.append(Removed(f"notes without definite pitch of {names.get(ident) or ident}",
                                 len(bars), bars[0]))
    return tuple(found)
