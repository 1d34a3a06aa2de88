"""The order in which the MusicXML 4.0 schema wants the children of an element."""

from __future__ import annotations

from lxml import etree

NOTE = ("grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument",
        "footnote", "level", "voice", "type", "dot", "accidental", "time-modification", "stem",
        "notehead", "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen")
ATTRIBUTES = ("footnote", "level", "divisions", "key", "time", "staves", "part-symbol",
              "instruments", "clef", "staff-details", "transpose", "for-part", "directive",
              "measure-style")
DIRECTION = ("direction-type", "offset", "footnote", "level", "voice", "staff", "sound",
             "listening")
HARMONY = ("root", "numeral", "function", "kind", "inversion", "bass", "degree", "frame", "offset",
           "footnote", "level", "staff")
PITCH = ("step", "alter", "octave")
_ORDER = {"note": NOTE, "attributes": ATTRIBUTES, "direction": DIRECTION, "harmony": HARMONY,
          "pitch": PITCH,
          "forward": ("duration", "footnote", "level", "voice", "staff")}


def put(parent: etree._Element, child: etree._Element) -> etree._Element:
    """Insert ``child`` where the schema wants it, after its like; return the child."""
    order = _ORDER.get(str(parent.tag), ())
    if child.tag in order:
        rank = order.index(str(child.tag))
        for place, other in enumerate(parent):
            if other.tag in order and order.index(str(other.tag)) > rank:
                parent.insert(place, child)
                return child
    parent.append(child)
    return child


def element(tag: str, text: str | None = None, **attributes: str) -> etree._Element:
    """Make an element with text and attributes."""
    made = etree.Element(tag, dict(attributes))
    made.text = text
    return made


def first(parent: etree._Element, tag: str) -> etree._Element | None:
    """Return the first child of this name, as ``find`` does in three times the time (measured)."""
    return next(parent.iterchildren(tag), None)


def first_text(parent: etree._Element, tag: str) -> str | None:
    """Return the text of the first child of this name; None without one, as of an empty one."""
    child = first(parent, tag)
    return None if child is None else child.text


def set_text(parent: etree._Element, tag: str, text: str) -> etree._Element:
    """Give the one child ``tag`` this text; it is made in its place where it is missing."""
    child = first(parent, tag)
    if child is None:
        child = put(parent, element(tag))
    child.text = text
    return child


def drop(parent: etree._Element, *tags: str) -> int:
    """Remove the direct children of these names; return how many there were."""
    found = [child for child in parent if child.tag in tags]
    for child in found:
        parent.remove(child)
    return len(found)


def forget(item: etree._Element, *names: str) -> None:
    """Remove attributes where they are present."""
    for name in item.keys():  # noqa: SIM118 - an element's own keys; it goes through its children
        if name in names:
            del item.attrib[name]


def detach(child: etree._Element) -> None:
    """Take an element out of its parent, if it has one."""
    parent = child.getparent()
    if parent is not None:
        parent.remove(child)


def notations(note: etree._Element) -> etree._Element:
    """Return the first ``<notations>`` of a note, made where it is missing."""
    found = first(note, "notations")
    return put(note, element("notations")) if found is None else found


def prune_notations(note: etree._Element) -> None:
    """Remove notations, and groups inside them, that have become empty."""
    for group in note.findall("notations"):
        for inner in group.findall("technical") + group.findall("articulations") + group.findall(
                "ornaments"):
            if len(inner) == 0:
                group.remove(inner)
        if len(group) == 0:
            note.remove(group)


def drop_tie(note: etree._Element, kind: str) -> None:
    """Take a note's ties of a kind, ``start`` or ``stop``, away: as sounded and as written."""
    for sign in [*note.findall("tie"), *note.findall("notations/tied")]:
        if sign.get("type") == kind:
            detach(sign)
    prune_notations(note)
