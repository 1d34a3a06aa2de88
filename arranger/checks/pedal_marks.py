"""The written pedal marks, believed, and compared with the notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from arranger.checks.case import Case, changes_wanted, changes_written
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import LEFT_FOOT, PEDALS, pedal_word
from arranger.model.mark_edits import InsertMark, MoveMark, PartEdit, RemoveMark
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId
from arranger.plan.unfolded import Stretch, stretches
from arranger.rulebook.rules import rule


@dataclass(frozen=True, slots=True)
class Sign:
    """One letter of one mark; ``full``: it stands in a whole setting."""

    onset: Fraction
    alter: int
    full: bool
    measure: int


@dataclass(frozen=True, slots=True)
class Run:
    """Bars played as they are written, and how the pedals stand by the marks when they begin."""

    stretch: Stretch
    entry: Mapping[str, int]

    def holds(self, measure: int) -> bool:
        """Tell whether a bar is one of these."""
        return self.stretch.first <= measure <= self.stretch.last


@dataclass(frozen=True, slots=True)
class Fault:
    """A note that the marks do not give, with the sign in force and the next one.

    ``jump``: bars between which the music jumps before the note, as they are numbered.
    """

    code: str
    note: Note
    stands: int
    sign: Sign | None
    edits: tuple[PartEdit, ...]
    title: str
    jump: tuple[str, str] | None = None


def runs(case: Case) -> Iterator[Run]:
    """The part as it is played; as it is written where the player marks the changes."""
    played = stretches(case.score)
    if len(played) < 2 or not case.changes_marked:
        yield Run(Stretch(0, len(case.score.measures) - 1), case.entry)
        return
    known = dict(case.entry)
    for stretch in played:
        run = Run(stretch, dict(known))
        yield run
        for mark in case.marks.pedals:
            if run.holds(mark.measure):
                known.update(mark.alters)


def _written(case: Case, letter: str) -> list[Sign]:
    return [Sign(m.onset, m.alters[letter], m.full, m.measure) for m in case.marks.pedals
            if letter in m.alters]


def _signs(written: Iterable[Sign], notes: Sequence[Note]) -> list[Sign]:
    """Signs of a letter; of several at one moment the one the next note wants, else the last."""
    kept: list[Sign] = []
    for onset, group in groupby(written, key=lambda s: s.onset):
        signs = list(group)
        want = next((n.pitch.alter for n in notes if n.onset >= onset), None)
        kept.append(next((s for s in signs if s.alter == want), signs[-1]))
    return kept


def _notes(case: Case, letter: str) -> list[Note]:
    """Notes that use the pedal, but for those that want it in two positions at once (S1)."""
    mine = [n for n in case.pedalled() if n.pitch.step == letter]
    wanted: dict[Fraction, set[int]] = {}
    for note in mine:
        wanted.setdefault(note.onset, set()).add(note.pitch.alter)
    return [n for n in mine if len(wanted[n.onset]) == 1]


def faults(case: Case, letter: str) -> Iterator[Fault]:
    """Places where the marks of one letter and its notes part, in playing order, each once."""
    written = _written(case, letter)
    if letter not in case.entry and not written:
        return
    everything = _notes(case, letter)
    told: set[NoteId] = set()
    for run in runs(case):
        notes = [n for n in everything if run.holds(n.measure)]
        signs = _signs([s for s in written if run.holds(s.measure)], notes)
        for found in _faults_of(case, letter, run, notes, signs):
            if found.note.id not in told:
                yield found
            told.add(found.note.id)


def _faults_of(case: Case, letter: str, run: Run, notes: Sequence[Note],
               signs: Sequence[Sign]) -> Iterator[Fault]:
    """Faults of one run of bars."""
    stands = run.entry.get(letter)
    at, forgiven = -1, False  # sign in force; a fault told since then
    before = stands
    for rank, note in enumerate(notes):
        while at + 1 < len(signs) and signs[at + 1].onset <= note.onset:
            at += 1
            before, stands, forgiven = (stands if at == 0 else signs[at - 1].alter,
                                        signs[at].alter, False)
        if not case.changes_marked and (at < 0 or not _at_once(case, signs[at], note)):
            return  # only settings are shown: the player marks what comes later
        if stands is None or note.pitch.alter == stands:
            continue
        if not forgiven:
            found = _fault(case, letter, _begin(case, run), notes, rank, signs, at, before, stands)
            if found.code != "P6" or not _on_other_string(case, run, note):
                yield _jumped(case, letter, run, found) if at < 0 else found
        forgiven = True


def _jumped(case: Case, letter: str, run: Run, found: Fault) -> Fault:
    """The fault with the jump it comes from; it may be mended before the jump too."""
    came = run.stretch.came
    if came is None:
        return found
    bars, want = case.score.measures, found.note.pitch.alter
    jump = bars[came].number, bars[run.stretch.first].number
    place = _before_barline(case, letter, came, want)
    if found.edits == (InsertMark(found.note.onset, letter, want),) and place is not None:
        return replace(found, jump=jump, edits=(InsertMark(place, letter, want),),
                       title=f"mark {pedal_word(letter, want)} {_at(case, place)}")
    return replace(found, jump=jump)


def _before_barline(case: Case, letter: str, measure: int, want: int) -> Fraction | None:
    """Last beat of a bar with time for the foot, after the last use of another position."""
    bar = case.score.measures[measure]
    end = bar.onset + bar.duration
    unit = Fraction(4, bar.beat_type)
    beats = (bar.onset + unit * i for i in range(int(bar.duration / unit) + 1))
    last = max((n.onset for n in case.notes if n.measure == measure and n.pitch.step == letter
                and n.pitch.alter != want), default=Fraction(-1))
    return max((b for b in beats if last < b < end and case.seconds(end) - case.seconds(b)
                >= case.player.foot_move_seconds - 1e-6), default=None)


def _at_once(case: Case, sign: Sign, note: Note) -> bool:
    """Tell whether the note follows its sign before a foot could move once more."""
    return (case.seconds(note.onset) - case.seconds(sign.onset)
            < case.player.foot_sustained_seconds - 1e-6)


def _on_other_string(case: Case, run: Run, note: Note) -> bool:
    """Tell whether the pedals as marked have this pitch on another letter (then it is N1)."""
    known = dict(run.entry)
    for mark in case.marks.pedals:
        if run.holds(mark.measure) and mark.onset <= note.onset:
            known.update(mark.alters)
    return any(known.get(p.step) == p.alter for p in case.harp.spellings(note.midi)
               if p != note.pitch)


def _begin(case: Case, run: Run) -> Fraction:
    return case.score.measures[run.stretch.first].onset


def _fault(case: Case, letter: str, begin: Fraction, notes: Sequence[Note], rank: int,
           signs: Sequence[Sign], at: int, before: int | None, stands: int) -> Fault:
    note = notes[rank]
    want = note.pitch.alter
    sign = signs[at] if at >= 0 else None
    after = signs[at + 1] if at + 1 < len(signs) else None
    until = after.onset if after is not None else None
    mine = [n for n in notes[rank:] if until is None or n.onset < until]
    since = [n for n in notes[:rank] if sign is not None and n.onset >= sign.onset]
    place = _moment(case, begin, notes, rank)
    word = pedal_word(letter, want)
    if after is not None and after.alter == want and all(n.pitch.alter == want for n in mine) and \
            case.score.measure_at(after.onset).index - note.measure <= rule("P7").number("bars"):
        if after.full:
            edits: tuple[PartEdit, ...] = (InsertMark(place, letter, want),)
            return Fault("P7", note, stands, after, edits, f"mark {word} {_at(case, place)}")
        edits = (MoveMark(after.onset, letter, want, place),)
        return Fault("P7", note, stands, after, edits, f"move {word} to {_at(case, place)}")
    if sign is not None and before == want and not since:
        if sign.full:
            edits = (InsertMark(sign.onset, letter, want),)
            return Fault("P8", note, stands, sign, edits, f"show {word} in the setting")
        later = [n for n in mine if n.pitch.alter == stands]
        if not later:
            return Fault("P8", note, stands, sign, (RemoveMark(sign.onset, letter),),
                         f"take {pedal_word(letter, stands)} away")
        to = _moment(case, begin, notes, notes.index(later[0]))
        return Fault("P8", note, stands, sign, (MoveMark(sign.onset, letter, stands, to),),
                     f"move {pedal_word(letter, stands)} to {_at(case, to)}")
    if sign is not None and sign.full and not since and before is None:
        return Fault("P8", note, stands, sign, (InsertMark(sign.onset, letter, want),),
                     f"show {word} in the setting")
    back = [n for n in mine if n.pitch.alter == stands]
    edits = (InsertMark(place, letter, want),)
    if back:
        edits += (InsertMark(_moment(case, begin, notes, notes.index(back[0])), letter, stands),)
    return Fault("P6", note, stands, sign, edits, f"mark {word} {_at(case, place)}")


def _at(case: Case, onset: Fraction) -> str:
    return str(case.score.locate(onset))


def _moment(case: Case, begin: Fraction, notes: Sequence[Note], rank: int) -> Fraction:
    """Last beat or attack that leaves the foot its time before the note, after the old pitch.

    ``begin``: before this other bars are played.
    """
    note = notes[rank]
    old = next((n for n in reversed(notes[:rank]) if n.pitch.alter != note.pitch.alter
                and n.onset < note.onset), None)
    floor = old.onset if old is not None else Fraction(-1)
    unit = Fraction(4, case.score.measures[note.measure].beat_type)
    bar = case.score.measures[note.measure].onset
    beats = {bar + unit * i for i in range(-4, int((note.onset - bar) / unit) + 1)}
    places = {a.onset for a in case.attacks
              if note.onset - 4 <= a.onset < note.onset} | {b for b in beats if b >= 0}
    ready = [p for p in places if p >= begin and floor < p < note.onset and case.seconds(note.onset)
             - case.seconds(p) >= case.player.foot_move_seconds - 1e-6]
    return max(ready, default=note.onset)


def _told(case: Case, code: str) -> Iterator[tuple[Fault, str, Remedy]]:
    prices = case.judge.prices
    for letter in PEDALS:
        for fault in faults(case, letter):
            if fault.code == code:
                remedy = Remedy(fault.title, "same-sound", prices["notch"] * len(fault.edits),
                                fault.edits)
                yield fault, pedal_word(letter, fault.stands), remedy


def missing(case: Case) -> Iterator[Diagnostic]:
    """P6: a note wants a position that no mark gives."""
    some = sum(not m.full for m in case.marks.pedals)
    if some and not case.changes_marked and not case.entry:
        yield case.say("P6", "advice", f"{changes_written(case.marks)} of "
                       f"{changes_wanted(case)} pedal changes are marked: mark all, or only the "
                       f"setting at the start", onset=case.marks.pedals[0].onset)
    for fault, stands, remedy in _told(case, "P6"):
        came = ("" if fault.jump is None else
                f" when bar {fault.jump[1]} is played after bar {fault.jump[0]}")
        yield case.say("P6", "error", f"{fault.note.pitch.label} needs a pedal change that is not "
                       f"marked: the pedal stands at {stands}{came}", (fault.note,),
                       remedies=[remedy])


def late(case: Case) -> Iterator[Diagnostic]:
    """P7: the mark stands after the first note it is for."""
    for fault, stands, remedy in _told(case, "P7"):
        assert fault.sign is not None
        yield case.say("P7", "error", f"{fault.note.pitch.label} comes before its mark, which "
                       f"stands in {_at(case, fault.sign.onset)}: the pedal is still at {stands}",
                       (fault.note,), remedies=[remedy])


def stale(case: Case) -> Iterator[Diagnostic]:
    """P8: a mark or setting takes away a position that is still needed."""
    for fault, stands, remedy in _told(case, "P8"):
        assert fault.sign is not None
        what = "the setting shown" if fault.sign.full else "the mark"
        yield case.say("P8", "error", f"{what} in {_at(case, fault.sign.onset)} puts the pedal at "
                       f"{stands}, but {fault.note.pitch.label} follows", (fault.note,),
                       remedies=[remedy])


def doubled(case: Case) -> Iterator[Diagnostic]:
    """P9: a mark for a pedal that stands there already, every time the bar is played."""
    for letter in PEDALS:
        written = _written(case, letter)
        idle: dict[Sign, bool] = {}
        for run in runs(case):
            stands = run.entry.get(letter)
            for sign in (s for s in written if run.holds(s.measure)):
                idle[sign] = idle.get(sign, True) and stands == sign.alter and not sign.full
                stands = sign.alter
        for sign in (s for s in idle if idle[s]):
            yield case.say(
                "P9", "advice", f"{pedal_word(letter, sign.alter)} is marked, but the pedal "
                f"stands there already", onset=sign.onset,
                remedies=[Remedy("take the mark away", "same-sound", 0,
                                 (RemoveMark(sign.onset, letter),))])


def contradicting(case: Case) -> Iterator[Diagnostic]:
    """P10: one pedal is asked into two positions at one moment."""
    for letter in PEDALS:
        signs = _written(case, letter)
        for onset in dict.fromkeys(s.onset for s in signs):
            alters = sorted({s.alter for s in signs if s.onset == onset})
            if len(alters) > 1:
                words = " and ".join(pedal_word(letter, a) for a in alters)
                edits = [(RemoveMark(onset, letter), InsertMark(onset, letter, a)) for a in alters]
                yield case.say("P10", "error", f"{words} are marked at one moment: no pedal stands "
                               f"in two places", onset=onset, remedies=[
                                   Remedy(f"mark {pedal_word(letter, a)} alone", "same-sound",
                                          case.judge.prices["notch"], e)
                                   for a, e in zip(alters, edits, strict=True)])


def unused(case: Case) -> Iterator[Diagnostic]:
    """P11: a change that no note uses before the pedal moves on; a repeat may have its own use."""
    if case.score.jumps:
        return
    for letter in PEDALS:
        notes = _notes(case, letter)
        signs = _signs(_written(case, letter), notes)
        stands = case.entry.get(letter)
        for at, sign in enumerate(signs):
            until = next((s.onset for s in signs[at + 1:] if s.alter != sign.alter), None)
            sounds = Pitch(letter, sign.alter, 4).pitch_class  # of a note spelled on another string
            used = any(n.pitch.step == letter or n.pitch.pitch_class == sounds
                       for n in (*case.notes, *case.graces)
                       if sign.onset <= n.onset and (until is None or n.onset < until))
            if not used and until is not None and not sign.full and stands != sign.alter:
                yield case.say("P11", "advice", f"{pedal_word(letter, sign.alter)} is marked, but "
                               f"no {letter} is played before the pedal moves again",
                               onset=sign.onset, remedies=[
                                   Remedy("take the mark away", "same-sound", 0,
                                          (RemoveMark(sign.onset, letter),))])
            stands = sign.alter


def reset_without_rest(case: Case) -> Iterator[Diagnostic]:
    """P12: a setting that moves most pedals without the time for it."""
    least = int(rule("P12").number("pedals"))
    known = dict(case.entry)
    for mark in case.marks.pedals:
        moved = [p for p, a in mark.alters.items() if p in known and known[p] != a]
        known.update(mark.alters)
        if len(moved) < least:
            continue
        earlier = [a.seconds for a in case.attacks if a.onset < mark.onset]
        later = [a.seconds for a in case.attacks if a.onset >= mark.onset]
        left = sum(p in LEFT_FOOT for p in moved)
        need = max(left, len(moved) - left) * case.player.foot_sustained_seconds
        if not earlier or len(later) < 2:
            continue
        have = later[0] - earlier[-1] if later[0] > case.seconds(mark.onset) else \
            case.seconds(mark.onset) - earlier[-1]
        if have < need - 1e-6:
            yield case.say("P12", "warning", f"{len(moved)} pedals are set anew without a rest: "
                           f"the feet need {need:.1f} s", onset=mark.onset, need=(have, need))


CHECKS = {"P6": missing, "P7": late, "P8": stale, "P9": doubled, "P10": contradicting,
          "P11": unused, "P12": reset_without_rest}
