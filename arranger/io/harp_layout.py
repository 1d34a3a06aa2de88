"""The source's page forgotten: a part on other staves, with other signs, is laid out afresh."""

from __future__ import annotations

from lxml import etree

from arranger.io.write_order import detach, drop, forget

_POSITIONS = ("default-x", "default-y", "relative-x", "relative-y", "bezier-x", "bezier-y",
              "bezier-x2", "bezier-y2", "bezier-offset", "bezier-offset2")


def forget_positions(part: etree._Element) -> None:
    """Take away where the signs of a part were drawn.

    A direction that says above or below by its height alone keeps that much.
    """
    for measure in part.findall("measure"):
        forget(measure, "width")
        for direction in measure.findall("direction"):
            height = next((sign.get("default-y", "") for sign in direction.iter()
                           if "default-y" in sign.attrib), "")
            if height and "placement" not in direction.attrib:
                direction.set("placement", "below" if height.startswith("-") else "above")
        for sign in measure.iter():
            if isinstance(sign.tag, str):
                forget(sign, *_POSITIONS)


def forget_breaks(tree: etree._Element) -> None:
    """Take away the line and page breaks of the source, and what it printed on later pages."""
    for sign in tree.findall("part/measure/print"):
        forget(sign, "new-system", "new-page", "blank-page", "page-number", "staff-spacing")
        drop(sign, "page-layout", "system-layout", "staff-layout", "measure-layout")
        if not sign.attrib and len(sign) == 0:
            detach(sign)
    for credit in tree.findall("credit"):
        if credit.get("page", "1") != "1":
            tree.remove(credit)
