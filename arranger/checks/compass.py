"""Notes the harp does not have, strings no pedal reaches, the top strings forced."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic
from arranger.model.harp import HarpString, pedal_word
from arranger.model.pitch import Pitch
from arranger.model.score import Note, bar_name
from arranger.rulebook.rules import rule


def out_of_compass(case: Case) -> Iterator[Diagnostic]:
    """C1: no such string, or none that gives the pitch, unless the other spelling has one."""
    lowest, highest = case.harp.strings[0], case.harp.strings[-1]
    for note in (*case.notes, *case.graces):
        string = HarpString.of(note.pitch)
        if case.harp.has(string) and (case.harp.tuning is None or case.harp.gives(note.pitch)):
            continue
        chord = [n for n in case.notes if n.onset == note.onset]
        why = (f"has no string: this harp goes from {lowest} to {highest}"
               if not case.harp.has(string) else f"is out of reach: the {string.step} string gives "
               + " and ".join(pedal_word(string.step, a) for a in case.harp.alters(string)))
        yield case.say("C1", "error", f"{note.pitch.label} {why}", (note,),
                       remedies=[*case.respelled(note), *case.shifted(note, chord),
                                 case.dropped(note, chord)])


def without_discs(case: Case) -> Iterator[Diagnostic]:
    """C2: a string tuned by hand is wanted at two pitches in one piece."""
    first: dict[HarpString, Note] = {}
    for attack in case.attacks:
        for note in attack.notes:
            string = HarpString.of(note.pitch)
            if string not in case.harp.fixed:
                continue
            before = first.setdefault(string, note)
            if before.pitch == note.pitch:
                continue
            bar = bar_name(case.score.locate(before.onset).bar)
            yield case.say("C2", "error", f"the {_place(string)} {string.step} has no pedal: tuned "
                           f"to {pedal_word(string.step, before.pitch.alter)} for {bar} it "
                           f"cannot give {note.pitch.label}", (note,),
                           remedies=[*case.respelled(note), *case.shifted(note, attack.notes),
                                     case.dropped(note, attack.notes)])


def _place(string: HarpString) -> str:
    return "lowest" if string.octave < 4 else "top"


def top_forced(case: Case) -> Iterator[Diagnostic]:
    """C3: the top octave played loud; one finding for each stretch of loud bars."""
    found = rule("C3")
    loud = found.limits["loud"].value
    above = Pitch.parse(str(found.limits["above"].value)).position
    assert isinstance(loud, tuple)
    told: set[int] = set()
    for note in case.notes:
        if note.pitch.position > above and case.dynamic(note.onset) in loud and \
                note.measure not in told:
            told.update(range(note.measure, note.measure + 4))
            yield case.say("C3", "advice", f"{note.pitch.label} is dry and hard when it is forced: "
                           f"soften the top octave or double it an octave lower", (note,))


CHECKS = {"C1": out_of_compass, "C2": without_discs, "C3": top_forced}
