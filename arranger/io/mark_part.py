"""A composer's part with pedals and findings written in: his own file, only added to."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction

from lxml import etree

from arranger.io.document import Document
from arranger.io.marks_wanted import wanted
from arranger.io.pedal_words import read_moves, string_words
from arranger.io.write_divisions import duration, number
from arranger.io.write_levers import lever_signs
from arranger.io.write_order import NOTE, element, put
from arranger.io.write_pedals import pedal_signs
from arranger.io.xml_inserts import Insertion, Text
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.model.marks import PedalMark

#: Colour of the words and noteheads of a finding; dark enough to be read on paper.
COLOURS: Mapping[str, str] = {"error": "#B3001B", "warning": "#9A5B00", "advice": "#2F5D8A"}
#: Letters of a finding that are printed at most.
LONGEST = 72
#: Places behind the point to which an offset is written that no decimal number meets.
_PLACES = 6
Signs = list[tuple[Fraction, list[etree._Element]]]


def mark_part(text: bytes | None, document: Document, draft: Draft, written: Sequence[PedalMark], *,
              findings: Sequence[Diagnostic] = (), diagrams_at: Iterable[Fraction] = (),
              pedals: str = "all") -> bytes:
    """Return the file with directions, noteheads and colours put in and nothing else changed.

    Parameters
    ----------
    text : the file in UTF-8, as ``musicxml_tree.text_of`` gives it; None where the tree is not
        that of a file (another format, parts laid together): the tree is written out first.
    document : read from ``text``; its tree is not changed.
    draft : the part as the player takes it; its plan is what is marked, and the string of a note
        that is not the one written.
    written : pedal marks of the part as read; what stands there right is not written again.
    findings : to be printed above the staff, their notes coloured.
    diagrams_at : onsets, in quarter notes, at which the full setting stands again.
    pedals : ``all``; ``changes`` (and the opening setting); ``diagrams`` only; ``none``.

    Raises
    ------
    ValueError
        The tree is not the one of ``text``, or has no part ``draft.part``.
    """
    page = Text(tree_text(document.root) if text is None else text, document.root)
    part = next((p for p in document.root.iterfind("part") if p.get("id") == draft.part), None)
    if part is None:
        raise ValueError(f"the tree has no part {draft.part!r}")
    staves = max((int(s.text or 1) for s in part.iterfind("measure/attributes/staves")), default=1)
    signs = [*_findings(findings, staves)]
    if draft.levers is not None:
        signs += lever_signs(draft.levers, pedals, str(staves) if staves > 1 else None)
    elif pedals != "none":
        signs += _pedals(draft, written, () if pedals == "changes" else diagrams_at,
                         pedals != "diagrams", str(staves) if staves > 1 else None)
        signs += _strings(draft, staves)
    put_in = [*_directions(page, part, document, signs),
              *_heads(page, document, findings)]
    return page.with_all(put_in)


def tree_text(root: etree._Element) -> bytes:
    """Write out a tree that is not that of a file."""
    return etree.tostring(root.getroottree(), encoding="UTF-8", xml_declaration=True)


def _pedals(draft: Draft, written: Sequence[PedalMark], diagrams_at: Iterable[Fraction],
            changes: bool, staff: str | None) -> Signs:
    found = wanted(draft, written, diagrams_at)
    return pedal_signs(found.settings, found.moves if changes else (), draft.plan.fixed, staff)


def _strings(draft: Draft, staves: int) -> Signs:
    """Name the string above a note that sounds on another letter than it is written on."""
    named: dict[tuple[Fraction, int], set[tuple[str, int]]] = {}
    for note in draft.notes:
        written, plucked = note.source.pitch, note.pitch
        if plucked.step != written.step and plucked.midi == written.midi:
            place = note.onset, min(note.source.staff, staves)
            named.setdefault(place, set()).add((plucked.step, plucked.alter))
    return [(onset, [_named(string, staff, staves) for string in sorted(strings)])
            for (onset, staff), strings in sorted(named.items())]


def _named(string: tuple[str, int], staff: int, staves: int) -> etree._Element:
    made = element("direction", None, placement="above")
    made.append(element("direction-type"))
    made[0].append(element("words", string_words(*string), **{"font-size": "8"}))
    if staves > 1:
        made.append(element("staff", str(staff)))
    return made


def _findings(findings: Iterable[Diagnostic], staves: int) -> Iterator[
        tuple[Fraction, list[etree._Element]]]:
    """One direction a finding, above the staff it is about (the upper one if about none)."""
    for found in findings:
        made = element("direction", None, placement="above")
        made.append(element("direction-type"))
        made[0].append(element("words", short(found.message), **{
            "font-style": "italic", "font-size": "8", "color": COLOURS[found.severity]}))
        if staves > 1:
            made.append(element("staff", str(min(found.staff or 1, staves))))
        yield found.where.onset, [made]


def short(message: str) -> str:
    """First clause of a message, cut at a word where it is long."""
    clause = message.split(";")[0].strip()
    if len(clause) <= LONGEST:
        return clause
    return clause[:LONGEST].rsplit(" ", 1)[0].rstrip(",:;") + " …"


def _directions(page: Text, part: etree._Element, document: Document,
                signs: Signs) -> Iterator[Insertion]:
    """Put every direction before the event it belongs to, unless it stands there already."""
    measures = list(part.iterfind("measure"))
    spots = _Spots(measures)
    for onset, made in signs:
        bar = document.score.measure_at(onset)
        index = min(bar.index, len(measures) - 1)
        standing = {t for w in measures[index].iterfind("direction/direction-type/words")
                    if (t := (w.text or "").strip())}
        fresh = [d for d in made if not _repeats(d, standing)]
        event, offset = spots.at(index, onset - bar.onset)
        for direction in fresh:
            if offset:
                put(direction, element("offset", _decimal(offset)))
        if fresh and event is None:
            yield page.last(measures[index], fresh)
        elif fresh and event is not None:
            yield page.before(event, fresh)


def _repeats(direction: etree._Element, standing: Collection[str]) -> bool:
    """Tell whether a direction says in words what stands in the bar already.

    Pedal changes are not judged here: ``wanted`` knows which of them stand in the part.
    """
    texts = [(w.text or "").strip() for w in direction.iter("words")]
    return len(texts) == 1 and texts[0] in standing and not read_moves(texts[0])


class _Spots:
    """Where the directions of a moment are put, by bar."""

    def __init__(self, measures: Sequence[etree._Element]) -> None:
        self._measures = measures
        self._divisions = [Fraction(1)]  # in force at the start of each bar
        for measure in measures:
            stated = [Fraction((d.text or "1").strip())
                      for d in measure.iterfind("attributes/divisions")]
            self._divisions.append(stated[-1] if stated else self._divisions[-1])

    def at(self, index: int, moment: Fraction) -> tuple[etree._Element | None, Fraction]:
        """Return the last event of a bar up to a moment, and the offset from there in divisions.

        ``moment`` in quarter notes from the start of the bar. Of several events at one place the
        first in the file is taken; None: the bar has no event, its end serves.
        """
        divisions = self._divisions[index]
        best: tuple[Fraction, Fraction, etree._Element] | None = None
        cursor = Fraction(0)
        for child in self._measures[index]:
            if child.tag == "attributes" and child.find("divisions") is not None:
                divisions = Fraction((child.findtext("divisions") or "1").strip())
            elif child.tag == "note" and child.find("chord") is None:
                if cursor <= moment and (best is None or cursor > best[0]):
                    best = (cursor, divisions, child)
                if child.find("grace") is None:
                    cursor += duration(child) / divisions
            elif child.tag in ("backup", "forward"):
                way = duration(child) / divisions
                cursor = max(Fraction(0), cursor - way if child.tag == "backup" else cursor + way)
        if best is None:
            return None, (moment - cursor) * divisions
        return best[2], (moment - best[0]) * best[1]


def _decimal(value: Fraction) -> str:
    """Write an offset; to a millionth of a division where no decimal number is exact."""
    if value.denominator == 1:
        return str(value.numerator)
    rounded = Fraction(round(value * 10**_PLACES), 10**_PLACES)
    return number(rounded)


def _heads(page: Text, document: Document,
           findings: Iterable[Diagnostic]) -> Iterator[Insertion]:
    """Colour the heads of the notes concerned; of several findings the gravest gives the colour."""
    colours: dict[etree._Element, str] = {}
    for severity in COLOURS:
        for found in findings:
            for ident in found.notes if found.severity == severity else ():
                for note in document.elements.get(ident, ())[:1]:
                    colours.setdefault(note, COLOURS[severity])
    for note, colour in colours.items():
        head = note.find("notehead")
        if head is None:
            later = NOTE[NOTE.index("notehead") + 1:]
            follower = next((c for c in note if c.tag in later), None)
            made = [element("notehead", "normal", color=colour)]
            yield page.last(note, made) if follower is None else page.before(follower, made)
        elif head.get("color") is None:
            yield page.attribute(head, "color", colour)
