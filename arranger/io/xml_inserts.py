"""Insertions into the text of an XML file: everything that stood there stays, byte for byte."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.parsers import expat

from lxml import etree


@dataclass(frozen=True, slots=True)
class Place:
    """Where an element begins and ends in the text: offsets of ``<tag`` and of ``</tag``.

    ``stop`` equals ``start`` for an element written as an empty tag.
    """

    tag: str
    start: int
    stop: int


@dataclass(frozen=True, slots=True)
class Insertion:
    """Text put before the byte at offset ``at``; several at one offset stand in their order."""

    at: int
    text: str


def places(text: bytes) -> list[Place]:
    """Return the place of every element of an UTF-8 text, in document order.

    The parser opens no file and expands nothing; ``musicxml_tree.parse`` has refused entities.
    """
    parser = expat.ParserCreate("utf-8")
    found: list[Place] = []
    open_: list[int] = []

    def start(tag: str, _: dict[str, str]) -> None:
        open_.append(len(found))
        found.append(Place(tag, parser.CurrentByteIndex, -1))

    def end(tag: str) -> None:
        at = open_.pop()
        found[at] = Place(tag, found[at].start, parser.CurrentByteIndex)

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.Parse(text, True)
    return found


class Text:
    """The bytes of a file beside the tree that was read from them."""

    def __init__(self, text: bytes, root: etree._Element) -> None:
        """Join bytes and tree; ValueError if the tree was changed since."""
        self.text = text
        found = places(text)
        elements = [e for e in root.iter() if isinstance(e.tag, str)]
        if [p.tag for p in found] != [e.tag for e in elements]:
            raise ValueError("the tree is not the one of this text")
        self._places = dict(zip(elements, found, strict=True))

    def before(self, element: etree._Element, made: Sequence[etree._Element]) -> Insertion:
        """Put elements before another, indented as it is."""
        at = self._places[element].start
        blank = self._blank(at)
        return Insertion(at, "".join(_written(e, blank) + blank for e in made))

    def last(self, parent: etree._Element, made: Sequence[etree._Element]) -> Insertion:
        """Put elements at the end of ``parent``, which has children, indented as these are."""
        stop = self._places[parent].stop
        children = [e for e in parent if isinstance(e.tag, str)]
        blank = self._blank(self._places[children[0]].start)
        at = stop - len(self._blank(stop))
        return Insertion(at, "".join(blank + _written(e, blank) for e in made))

    def attribute(self, element: etree._Element, name: str, value: str) -> Insertion:
        """Give an element an attribute it does not have; ``value`` needs no escaping."""
        place = self._places[element]
        return Insertion(place.start + 1 + len(place.tag.encode()), f' {name}="{value}"')

    def _blank(self, at: int) -> str:
        """White space that stands before an offset."""
        start = at
        while self.text[start - 1:start].isspace():
            start -= 1
        return self.text[start:at].decode()

    def with_all(self, insertions: Iterable[Insertion]) -> bytes:
        """Return the text with everything put in."""
        pieces: list[bytes] = []
        done = 0
        for each in sorted(insertions, key=lambda i: i.at):
            pieces += [self.text[done:each.at], each.text.encode()]
            done = each.at
        return b"".join((*pieces, self.text[done:]))


def _written(element: etree._Element, blank: str) -> str:
    """Write an element on lines indented like ``blank``, on one line where that has no break."""
    head, line, indent = blank.rpartition("\n")
    if line:
        etree.indent(element, "  ")
    newline = "\r\n" if head.endswith("\r") else "\n"
    return etree.tostring(element, encoding="unicode", with_tail=False).replace(
        "\n", newline + indent)
