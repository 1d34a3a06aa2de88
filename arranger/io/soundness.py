"""Numbers of a tree that everything behind it may rely on: the written harp part is made from them.

What carries music (a length, a staff, a pitch) is refused where it is no number, in one line with
bar and part; what only decorates (the place of a word, the number of a slur) gets its usual value.
Nothing is removed, so that the tree stays in step with the text it came from.
"""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import count

from lxml import etree

from arranger.model.errors import SourceError

_WHOLE = re.compile(r"\s*[+-]?\d{1,9}\s*")
_DECIMAL = re.compile(r"\s*[+-]?\d{1,18}(?:\.\d{0,9})?\s*")
#: Elements that carry music: what is read, and the least and the greatest value that makes sense.
_MUSIC = {"duration": (_DECIMAL, None, None), "divisions": (_DECIMAL, None, None),
          "alter": (_DECIMAL, None, None), "staff": (_WHOLE, 1, 20), "staves": (_WHOLE, 1, 20),
          "octave": (_WHOLE, None, None), "fifths": (_WHOLE, -14, 14),
          "chromatic": (_DECIMAL, None, None), "diatonic": (_WHOLE, None, None),
          "octave-change": (_WHOLE, None, None)}
#: Elements that decorate, and what stands where theirs is no number.
_DECORATION = {"offset": (_DECIMAL, "0"), "key-alter": (_DECIMAL, "0"),
               "root-alter": (_DECIMAL, "0"), "bass-alter": (_DECIMAL, "0"),
               "clef-octave-change": (_WHOLE, "0"),
               "line": (_WHOLE, "2")}
#: Attributes that decorate, by element.
_NUMBERED = dict.fromkeys(("key", "time", "clef", "transpose", "slur", "wedge", "dashes", "bracket",
                           "octave-shift", "glissando", "slide", "wavy-line"), ("number",))
_ATTRIBUTES = {**_NUMBERED, "octave-shift": ("number", "size"), "note": ("attack", "release"),
               "grace": ("make-time",)}
_STEPS = frozenset("ABCDEFG")
#: What a note is, one of them.
_KINDS = frozenset(("pitch", "rest", "unpitched"))
_USUAL = {"number": "1", "size": "8"}
_LOOKED_AT = (*_MUSIC, *_DECORATION, *_ATTRIBUTES, "step")


def settle(root: etree._Element, name: str) -> None:
    """Check the numbers of a score-partwise tree, in place.

    Parameters
    ----------
    root
        Root of the tree.
    name
        File name for messages.

    Raises
    ------
    SourceError
        A number that carries music is none or makes no sense, a note stands inside another, or the
        part-list is not clear.
    """
    if len(root.findall("part-list")) > 1:
        raise SourceError(f"{name}: two part-lists, so it is not clear which parts there are")
    _name_parts(root)
    listed = [line.get("id") for line in root.iterfind("part-list/score-part")]
    if len(set(listed)) < len(listed):
        raise SourceError(f"{name}: two lines of the part-list have the same id")
    known: set[tuple[str, str | None]] = set()
    for element in root.iter(*_LOOKED_AT):  # one walk: a score has a hundred thousand of them
        tag = str(element.tag)
        attributes = _ATTRIBUTES.get(tag)
        if attributes is not None:
            if tag == "note" and getattr(element.getparent(), "tag", "") == tag:
                raise SourceError(f"{name}: a note stands inside a note")
            if tag == "note" and sum(child.tag in _KINDS for child in element) > 1:
                raise SourceError(f"{name}: a note that is pitched and a rest, or twice pitched")
            for wanted in attributes:
                _settle_attribute(element, wanted)
        elif (tag, element.text) not in known:
            _settle_text(element, tag, name)
            known.add((tag, element.text))


def _name_parts(root: etree._Element) -> None:
    """Give an id to a part that has none, and to the line of the part-list in its place."""
    parts, lines = root.findall("part"), root.findall("part-list/score-part")
    taken = {element.get("id") for element in (*parts, *lines)}
    for rank, part in enumerate(parts):
        if part.get("id"):
            continue
        line = lines[rank] if rank < len(lines) else None
        given = line.get("id") if line is not None else None
        ident = given if given and given not in {p.get("id") for p in parts} else next(
            name for n in count(rank + 1) if (name := f"P{n}") not in taken)
        part.set("id", ident)
        taken.add(ident)
        if line is not None and not line.get("id"):
            line.set("id", ident)


def _settle_text(element: etree._Element, tag: str, name: str) -> None:
    if tag in _MUSIC:
        _check(element, name)
    elif tag == "step":
        _settle_step(element, name)
    else:
        shape, usual = _DECORATION[tag]
        if not shape.fullmatch(element.text or ""):
            element.text = usual


def _check(element: etree._Element, name: str) -> None:
    tag, text = str(element.tag), element.text or ""
    shape, low, high = _MUSIC[tag]
    if tag == "staff" and element.getparent() is not None and not text.strip():
        element.text = "1"  # an empty staff says no more than none
        return
    if not shape.fullmatch(text):
        kind = "whole number" if _DECIMAL.fullmatch(text) else "number"
        raise SourceError(f"{_where(element, name)}: <{tag}> is not a {kind}: "
                          f"{text.strip()[:30]!r}")
    if low is not None and high is not None and not low <= int(text) <= high:
        raise SourceError(f"{_where(element, name)}: <{tag}> is {text.strip()}; "
                          f"{low} to {high} can be read")
    if tag == "divisions" and Fraction(text) <= 0:
        raise SourceError(f"{_where(element, name)}: {text.strip()} divisions of a quarter note "
                          "make no sense")


def _settle_step(element: etree._Element, name: str) -> None:
    plain = (element.text or "").strip().upper()
    if plain not in _STEPS:
        raise SourceError(f"{_where(element, name)}: {plain[:20]!r} is no step of a pitch")
    element.text = plain


def _settle_attribute(element: etree._Element, wanted: str) -> None:
    value = element.get(wanted)
    if value is None:
        return
    if wanted in ("number", "size"):
        good = _WHOLE.fullmatch(value) and 1 <= int(value) <= 99
        if not good:
            element.set(wanted, _USUAL[wanted])
    elif not _DECIMAL.fullmatch(value):
        del element.attrib[wanted]


def _where(element: etree._Element, name: str) -> str:
    """Name file, bar and part as far as the element stands in any."""
    found = {a.tag: a for a in element.iterancestors("measure", "part")}
    said = [f"bar {found['measure'].get('number', '?')[:20]}"] if "measure" in found else []
    said += [f"part {found['part'].get('id', '')[:40]}"] if "part" in found else []
    return f"{name}: {', '.join(said)}" if said else name
