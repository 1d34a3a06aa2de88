"""Where notes that changed hands stand: in a chord there, in place of a rest, or a new voice."""

from __future__ import annotations

from copy import deepcopy
from fractions import Fraction

from lxml import etree

from arranger.io.write_divisions import Ticks, length, number
from arranger.io.write_events import Event, Patch, events, pitch_of
from arranger.io.write_notes import Moved, bare, set_staff, share_signs
from arranger.io.write_order import detach, drop, element, notations, prune_notations, put, set_text


class Voices:
    """Gives out voice numbers the part has not used; the same ones again in every measure."""

    def __init__(self, part: etree._Element) -> None:
        used = [int(v.text) for v in part.iterfind("measure/note/voice")
                if v.text and v.text.strip().isdigit()]
        self._next = max(used, default=0) + 1
        self._given: dict[tuple[str, int, bool], str] = {}

    def number(self, staff: str, lane: int, grace: bool) -> str:
        """Return the number of the ``lane``-th further voice on a staff."""
        key = (staff, lane, grace)
        if key not in self._given:
            self._given[key] = str(self._next)
            self._next += 1
        return self._given[key]


def place(measure: etree._Element, moved: list[Moved], patch: Patch, voices: Voices,
          leans_on: dict[etree._Element, Fraction]) -> None:
    """Give every moved group its new place in the measure.

    ``leans_on`` holds for grace notes the onset, in divisions, of the note they lean on.
    """
    waiting: list[tuple[Ticks, Moved]] = []
    for group in moved:
        if group.home.find("beam") is not None:
            patch.unbeamed.add(group.notes[0])
        for note in group.notes:
            bare(note)
            set_staff(note, group.staff, patch)
        if group.event.grace:
            onset = leans_on.get(group.notes[0], group.event.onset)
            if not _lean(measure, group, onset):
                waiting.append((onset, group))
        elif not _share(measure, group, patch):
            waiting.append((group.event.onset, group))
    _write_lanes(measure, waiting, voices)


def _share(measure: etree._Element, group: Moved, patch: Patch) -> bool:
    """Join a chord of the same value on the other staff, or take the place of a rest there."""
    found = events(measure)
    here = [e for e in found
            if (e.onset, e.length, e.staff, e.rhythm) == (
                group.event.onset, group.event.length, group.staff, group.event.rhythm)
            and not e.grace and e.head not in patch.doomed and _after_its_tie(group, e, found)]
    for chord in here:
        if not chord.rest and _fits(chord, group):
            _join(chord, group)
            return True
    for rest in here:
        if rest.rest and rest.rhythm[0] and rest.head.get("print-object") != "no":
            _replace(rest, group, patch)
            return True
    return False


def _after_its_tie(group: Moved, there: Event, found: list[Event]) -> bool:
    """Tell whether notes that a tie in this bar leads to would stand after its start in the file.

    Engravers that meet a tie's end before its start draw it to the next note of that pitch.
    """
    if not group.event.onset:
        return True  # from the bar before
    started = {pitch_of(n) for e in found if e.end == group.event.onset and e.run <= there.run
               for n in e.notes if any(t.get("type") == "start" for t in n.findall("tie"))}
    return all(pitch_of(n) in started for n in group.notes
               if any(t.get("type") == "stop" for t in n.findall("tie")))


def _fits(chord: Event, group: Moved) -> bool:
    pitches = [pitch_of(note) for note in (*chord.notes, *group.notes)]
    lines = [pitch.position for pitch in pitches if pitch is not None]
    return len(lines) == len(pitches) == len(set(lines)) and chord.head.find("cue") is None


def _join(chord: Event, group: Moved) -> None:
    stem, last = chord.head.find("stem"), chord.notes[-1]
    for note in group.notes:
        put(note, element("chord"))
        set_text(note, "voice", chord.voice)
        drop(note, "stem")
        if stem is not None:
            put(note, element("stem", stem.text))
        last.addnext(note)
        last = note


def _replace(rest: Event, group: Moved, patch: Patch) -> None:
    head = group.notes[0]
    for beam in rest.head.findall("beam"):
        put(head, beam)
    for sign in [s for g in rest.head.findall("notations") for s in g]:
        notations(head).append(sign)
    if head.find("notations/fermata") is None:
        share_signs(group.home, head)
    last = rest.head
    for note in group.notes:
        if note is not head:
            put(note, element("chord"))
        set_text(note, "voice", rest.voice)
        drop(note, "stem")
        last.addnext(note)
        last = note
    patch.rests.discard(rest.head)
    detach(rest.head)


def _lean(measure: etree._Element, group: Moved, onset: Ticks) -> bool:
    """Put grace notes before the note they lean on, on the other staff."""
    for event in events(measure):
        if not event.grace and event.onset == onset and event.staff == group.staff:
            for at, note in enumerate(group.notes):
                if at:
                    put(note, element("chord"))
                set_text(note, "voice", event.voice)
                drop(note, "stem")
                event.head.addprevious(note)
            return True
    return False


def _write_lanes(measure: etree._Element, waiting: list[tuple[Ticks, Moved]],
                 voices: Voices) -> None:
    """Write further voices at the end of a measure, none with two events at a time."""
    lanes: list[tuple[str, bool, list[tuple[Ticks, Moved]]]] = []
    for onset, group in sorted(waiting, key=lambda w: (w[0], w[0] + w[1].event.length)):
        for staff, grace, lane in lanes:
            last = lane[-1]
            if (staff == group.staff and not grace and not group.event.grace
                    and last[0] + last[1].event.length <= onset):
                lane.append((onset, group))
                break
        else:
            lanes.append((group.staff, group.event.grace, [(onset, group)]))
    if not lanes:
        return
    here = events(measure)
    ending = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
    for barline in ending:
        measure.remove(barline)
    home, _ = length(measure)
    at: Ticks = home
    count: dict[tuple[str, bool], int] = {}
    for staff, grace, lane in lanes:
        index = count[staff, grace] = count.get((staff, grace), -1) + 1
        voice = voices.number(staff, index, grace)
        _go(measure, -at, "", "")  # a voice begins with the bar: some engravers know no other
        at = 0
        for onset, group in lane:
            beside = [e for e in here if (e.run, e.voice) == (group.event.run, group.voice)]
            _fill(measure, beside, at, onset, (voice, staff))
            _write_group(measure, group, voice)
            at = onset + group.event.length
    _go(measure, home - at, "", "")
    measure.extend(ending)


def _fill(measure: etree._Element, beside: list[Event], at: Ticks, until: Ticks,
          place: tuple[str, str]) -> None:
    """Move on to ``until``; tuplets passed on the way are counted out in hidden rests.

    An engraver cannot make a third of a beat out of halves; ``beside`` is the voice the notes
    came from, which has just the values that are needed.
    """
    for event in beside:
        change = event.head.find("time-modification")
        if change is None or event.grace or event.onset < at or event.end > until:
            continue
        _go(measure, event.onset - at, *place)
        rest = etree.SubElement(measure, "note", {"print-object": "no"})
        rest.extend([element("rest"), element("duration", number(event.length)),
                     element("voice", place[0])])
        rest.extend([deepcopy(child) for tag in ("type", "dot") for child in
                     event.head.findall(tag)])
        rest.extend([deepcopy(change), element("staff", place[1])])
        _own_tuplet(rest)
        at = event.end
    _go(measure, until - at, *place)


def _own_tuplet(note: etree._Element) -> None:
    """Make the note a tuplet by itself, unseen: engravers take its length from there."""
    notations(note).extend(
        [element("tuplet", None, type="start", bracket="no", **{"show-number": "none"}),
         element("tuplet", None, type="stop")])


def _go(measure: etree._Element, by: Ticks, voice: str, staff: str) -> None:
    """Move the cursor forward or back."""
    if not by:
        return
    move = etree.SubElement(measure, "forward" if by > 0 else "backup")
    move.append(element("duration", number(max(by, -by))))
    if by > 0 and voice:
        move.extend([element("voice", voice), element("staff", staff)])


def _write_group(measure: etree._Element, group: Moved, voice: str) -> None:
    head = group.notes[0]
    share_signs(group.home, head)
    if head.find("time-modification") is not None and not group.event.grace:
        _own_tuplet(head)
    for note in group.notes:
        if note is not head:
            put(note, element("chord"))
        set_text(note, "voice", voice)
        drop(note, "stem")
        measure.append(note)


def remove_doomed(patch: Patch) -> None:
    """Take out the grace notes that were left out, once their slurs are mended."""
    for note in patch.doomed:
        prune_notations(note)
        detach(note)
