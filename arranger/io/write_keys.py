"""Key signatures of a harp part: they follow the strings that are plucked.

Music respelled for the most part gets the signature of its strings: B major played on the flat
strings has seven flats. Whether it does is settled bar by bar, exactly, between the signature of
the source and its enharmonic twin; signs saved are weighed against a change of signature. What is
written so is its own best answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from types import MappingProxyType

from lxml import etree

from arranger.io.write_order import detach, drop, element, put
from arranger.model.draft import Draft
from arranger.search.states import cheapest_states

_SHARPS = "FCGDAEB"
# Prices, in accidentals (assumptions): a change of signature at all, one where the source has
# none, and a bar in another signature than the source's.
_CHANGE, _NEW, _UNLIKE = 4, 30, 2
#: Every signature as it is in the source.
SAME: Mapping[int, int] = MappingProxyType({})


def signatures(draft: Draft, instead: Mapping[int, int] = SAME) -> tuple[int, ...]:
    """Return the key signature of every bar, sharps positive, as the strings of the draft ask.

    ``instead``: signatures that this harp does not read, with those that stand for them.
    """
    source = [instead.get(bar.fifths, bar.fifths) for bar in draft.source.measures]
    heard: list[Counter[tuple[str, int]]] = [Counter() for _ in source]
    for note in draft.notes:
        heard[note.source.measure][note.pitch.step, note.pitch.alter] += 1
    costs = []
    for here, fifths in zip(heard, source, strict=True):
        states = [fifths, *(twin for twin in (fifths - 12, fifths + 12) if -7 <= twin <= 7)]
        costs.append({key: (_UNLIKE if key != fifths else 0) + sum(
            count for (letter, alter), count in here.items() if alter_in(key, letter) != alter)
            for key in states})

    def change(at: int, old: int, new: int) -> int:
        return 0 if old == new else _CHANGE + _NEW * (source[at] == source[at - 1])

    return tuple(cheapest_states(costs, change))


def alter_in(fifths: int, letter: str) -> int:
    """Return what a key signature makes of a letter; beyond seven signs they are doubled."""
    count, order = abs(fifths), _SHARPS if fifths > 0 else _SHARPS[::-1]
    signs = count // 7 + (order.index(letter) < count % 7)
    return signs if fifths > 0 else -signs


def write_keys(part: etree._Element, source: tuple[int, ...], wanted: tuple[int, ...]) -> None:
    """Write the wanted signatures where they are not the source's.

    A part with signatures of another kind (single letters, one staff alone, amid a bar) keeps
    what it has.
    """
    measures = part.findall("measure")
    if source == wanted or len(measures) < len(wanted) or not _plain(part):
        return
    before: int | None = None
    for measure, fifths in zip(measures, wanted, strict=False):
        keys = measure.findall("attributes/key")
        if fifths == before and keys:
            for key in keys:
                _take_out(key)
        elif fifths != before:
            key = keys[-1] if keys else _new_key(measure)
            count = key.find("fifths")
            if count is None or count.text != str(fifths):
                drop(key, "cancel", "fifths")
                key.insert(0, element("fifths", str(fifths)))
        before = fifths


def _plain(part: etree._Element) -> bool:
    for measure in part.findall("measure"):
        begun = False
        for child in measure:
            begun |= child.tag in ("note", "forward", "backup")
            for key in child.findall("key") if child.tag == "attributes" else ():
                if begun or key.get("number") or key.find("fifths") is None:
                    return False
    return True


def _new_key(measure: etree._Element) -> etree._Element:
    attributes = measure.find("attributes")
    begun = measure.find("note")
    if attributes is None or (begun is not None and measure.index(attributes)
                              > measure.index(begun)):
        attributes = element("attributes")
        measure.insert(0, attributes)
    return put(attributes, element("key"))


def _take_out(key: etree._Element) -> None:
    attributes = key.getparent()
    detach(key)
    if attributes is not None and len(attributes) == 0:
        detach(attributes)
