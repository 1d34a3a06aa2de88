"""How the part is written: spelling, signs of the piano, settings, clefs, key."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby

from arranger.checks.case import Case, with_settings
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import PEDALS, HarpString, spellings
from arranger.model.ledger import Respell
from arranger.model.mark_edits import InsertMark
from arranger.model.marks import PianoSign
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.settings import key_setting
from arranger.plan.timing import windows
from arranger.rulebook.rules import rule

_KEYS = {5: ("B major", "C♭ major", -7), 6: ("F♯ major", "G♭ major", -6),
         7: ("C♯ major", "D♭ major", -5)}


def spelled_otherwise(case: Case) -> Iterator[Diagnostic]:
    """N1: the marked setting has the pitch on another string than the one written."""
    bars: dict[tuple[int, Pitch], list[Note]] = {}
    overruled = _overruled(case)
    for note, known in with_settings(case):
        if HarpString.of(note.pitch) in case.harp.fixed or len(known) < len(PEDALS) \
                or abs(note.pitch.alter) > 1:
            continue
        other = next((p for p in case.harp.spellings(note.midi)
                      if p != note.pitch and known[p.step] == p.alter), None)
        if other is not None and known[note.pitch.step] != note.pitch.alter \
                and other.step not in overruled[note.onset]:
            bars.setdefault((note.measure, note.pitch), []).append(note)
    for (_, pitch), notes in bars.items():
        other = next(p for p in case.harp.spellings(pitch.midi) if p != pitch)
        yield case.say("N1", "warning", f"{pitch.label} is written, but the pedals as marked have "
                       f"it on the {other.step} string: write {other.label}", notes,
                       remedies=[Remedy(f"write {other.label}", "same-sound",
                                        case.judge.prices["respell"] * len(notes),
                                        tuple(Respell(n.id, other) for n in notes))])


def _overruled(case: Case) -> dict[Fraction, frozenset[str]]:
    """Letters of which, up to every onset, notes have asked for more than their last mark gives."""
    found: dict[Fraction, frozenset[str]] = {}
    letters: set[str] = set()
    marks = deque(case.marks.pedals)
    for onset, struck in groupby(with_settings(case), key=lambda each: each[0].onset):
        while marks and marks[0].onset <= onset:
            letters -= set(marks.popleft().alters)
        for note, known in struck:
            if known.get(note.pitch.step, note.pitch.alter) != note.pitch.alter:
                letters.add(note.pitch.step)
        found[onset] = frozenset(letters)
    return found


def piano_signs(case: Case) -> Iterator[Diagnostic]:
    """N2: signs of the piano; one finding for each kind."""
    first: dict[str, list[PianoSign]] = {}
    for sign in case.marks.piano:
        first.setdefault(sign.kind, []).append(sign)
    for kind, signs in first.items():
        often = f", {len(signs)} times from here on" if len(signs) > 1 else ""
        yield case.say("N2", "advice", f"{kind} is for the piano{often}: at the harp it misleads",
                       onset=signs[0].onset)


def no_opening_setting(case: Case) -> Iterator[Diagnostic]:
    """N3: the part marks or needs pedals, but shows no full setting before its first note."""
    if not case.attacks or case.entry:
        return
    start = case.attacks[0].onset
    if any(m.full and m.onset <= start for m in case.marks.pedals):
        return
    if not case.marks.pedals:
        return
    setting, _ = windows(case.uses(), key_setting(case.score.measures[0].fifths))
    edits = tuple(InsertMark(start, p, setting.alter(p)) for p in PEDALS)
    yield case.say("N3", "advice", f"pedal changes are marked, but no setting to start from; it is "
                   f"{setting}", onset=start,
                   remedies=[Remedy(f"print {setting} at the start", "same-sound", 0, edits)])


def double_accidentals(case: Case) -> Iterator[Diagnostic]:
    """N4: double sharps and flats, which no pedal gives; one finding a bar."""
    bars: dict[int, list[Note]] = {}
    for note in case.notes:
        if abs(note.pitch.alter) > 1:
            bars.setdefault(note.measure, []).append(note)
    for notes in bars.values():
        plain = {n.id: _plain(case, n) for n in notes}
        told = ", ".join(dict.fromkeys(f"{plain[n.id].label} for {n.pitch.label}" for n in notes))
        edits = tuple(Respell(n.id, plain[n.id]) for n in notes)
        yield case.say("N4", "warning", f"no pedal gives a double sharp or flat: write {told}",
                       notes, remedies=[Remedy(f"write {told}", "same-sound",
                                               len(notes) * case.judge.prices["respell"], edits)])


def _plain(case: Case, note: Note) -> Pitch:
    """Spelling that asks least of the letters around the note."""
    near = [n for n in case.notes if abs(n.measure - note.measure) <= 1 and n.id != note.id]

    def price(pitch: Pitch) -> tuple[int, int, int, Pitch]:
        others = [n for n in near if n.pitch.step == pitch.step and n.pitch.alter != pitch.alter]
        now = sum(n.onset == note.onset for n in others)
        return (now, len(others), abs(pitch.alter), pitch)
    return min(case.harp.spellings(note.midi) or spellings(note.midi), key=price)


def far_from_staff(case: Case) -> Iterator[Diagnostic]:
    """N5: a stretch of notes many ledger lines away from its staff."""
    found = rule("N5")
    lines, least = int(found.number("ledger_lines")), int(found.number("notes"))
    for staff in sorted({n.staff for n in case.notes}):
        mine = [(n, case.ledger_lines(n)) for n in case.notes if n.staff == staff]
        for side, group in groupby(mine, key=lambda m: (m[1] > lines) - (m[1] < -lines)):
            run = [n for n, _ in group]
            if side and len(run) >= least:
                yield case.say("N5", "advice", f"{len(run)} notes lie more than {lines} ledger "
                               f"lines {'above' if side > 0 else 'below'} the staff: change the "
                               f"clef", run)


def sharp_key(case: Case) -> Iterator[Diagnostic]:
    """N6: a key signature of five sharps or more, where the flat key rings better."""
    least = int(rule("N6").number("sharps"))
    before = 0
    for bar in case.score.measures:
        if bar.fifths >= least and bar.fifths != before and bar.fifths in _KEYS:
            sharp, flat, fifths = _KEYS[bar.fifths]
            here = [n for n in case.notes if n.measure >= bar.index]
            if here and here[0].measure - bar.index < 8:
                moves = key_setting(before).pedals_to(key_setting(fifths))
                yield case.say("N6", "advice", f"{sharp} rings better, and is easier to read, as "
                               f"{flat}: {moves} pedals change from the key before",
                               onset=bar.onset)
        before = bar.fifths


CHECKS = {"N1": spelled_otherwise, "N2": piano_signs, "N3": no_opening_setting,
          "N4": double_accidentals, "N5": far_from_staff, "N6": sharp_key}
