"""What is to be said of a source's timing: swing that is reckoned straight, rounded performance."""

from __future__ import annotations

from lxml import etree

_FIELD = "timing"


def tell_rounded(root: etree._Element, off: int, notes: int) -> None:
    """Note in a tree that so many of its notes stood beside the beat before it was written."""
    identification = root.find("identification")
    if identification is None:
        identification = etree.Element("identification")
        before = [c for c in root if c.tag in ("work", "movement-number", "movement-title")]
        root.insert(root.index(before[-1]) + 1 if before else 0, identification)
    held = identification.find("miscellaneous")
    if held is None:
        held = etree.SubElement(identification, "miscellaneous")
    field = etree.SubElement(held, "miscellaneous-field", name=_FIELD)
    field.text = (f"rounded to quarters and thirds of the crotchet ({off} of {notes} notes stood "
                  "beside them)")


def timing(root: etree._Element) -> str:
    """Return what is to be said of the timing; empty where all is as written."""
    for field in root.iterfind("identification/miscellaneous/miscellaneous-field"):
        if field.get("name") == _FIELD and field.text:
            return field.text
    if any(s.find("straight") is None for s in root.iter("swing")):
        return "swing is left to the player and reckoned straight"
    return ""
