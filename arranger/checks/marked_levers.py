"""The lever marks that stand in a part, laid on its strings: what who follows them plays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from arranger.checks.case import Case
from arranger.model.harp import HarpString
from arranger.model.levers import LeverMove, LeverPlan
from arranger.model.marks import LeverSign
from arranger.model.pitch import Pitch
from arranger.model.score import Note


@dataclass(frozen=True, slots=True)
class Sign:
    """One string asked to an alter by a mark at ``onset``; ``octave``: the mark names it."""

    onset: Fraction
    string: HarpString
    alter: int
    octave: bool

    @property
    def pitch(self) -> Pitch:
        """The pitch asked for."""
        return self.string.pitch(self.alter)


@dataclass(frozen=True, slots=True)
class Written:
    """Marks of a part laid on its strings.

    ``signs`` by string, in order; ``idle``: onset and pitch of what no string of the harp can
    answer, with the reason. ``notes``: by string, what the levers are for. ``until``: signs up to
    here are the setting before the piece.
    """

    signs: Mapping[HarpString, tuple[Sign, ...]]
    idle: tuple[tuple[Fraction, LeverSign, str], ...]
    notes: Mapping[HarpString, tuple[Note, ...]]
    until: Fraction

    def __bool__(self) -> bool:
        """Whether a mark stands in the part."""
        return bool(self.signs or self.idle)


def written_levers(case: Case) -> Written:
    """Lay the marks on the strings.

    A mark without octave sets before the piece every string of its letter that no mark there
    names; within the piece the strings whose next note wants it, or if none does the string of the
    letter that is plucked next. Words that name a pitch alone, as pedals are marked, count where
    other words of the part speak of levers.
    """
    notes = _notes(case)
    until = Fraction(-1) if case.lever_entry is not None or not case.attacks \
        else case.attacks[0].onset
    found: dict[HarpString, list[Sign]] = {}
    idle: list[tuple[Fraction, LeverSign, str]] = []
    for onset, group in groupby(_texts(case), key=lambda s: s[0]):
        asked = [sign for _, sign in group]
        for sign in sorted(asked, key=lambda s: s.octave is None):
            if sign.octave is not None:
                strings = [HarpString.of(Pitch(sign.step, sign.alter, sign.octave))]
            else:
                strings = [s for s in _meant(sign, onset, onset <= until, notes, case)
                           if not any(o.onset == onset and o.octave for o in found.get(s, ()))]
            for string in strings:
                why = _beyond(string, sign, case)
                if why:
                    idle.append((onset, sign, why))
                    break
                found.setdefault(string, []).append(
                    Sign(onset, string, sign.alter, sign.octave is not None))
    return Written({s: tuple(signs) for s, signs in sorted(found.items())}, tuple(idle), notes,
                   until)


def _texts(case: Case) -> list[tuple[Fraction, LeverSign]]:
    """Every sign of every text, in order of time."""
    found = [(m.onset, s) for m in case.marks.levers for s in m.signs]
    if case.marks.levers:
        found += [(m.onset, LeverSign(step, alter)) for m in case.marks.pedals if m.text
                  for step, alter in m.alters.items()]
    return sorted(found, key=lambda s: s[0])


def _notes(case: Case) -> dict[HarpString, tuple[Note, ...]]:
    """Notes by string, but for those struck together at two pitches of one string (S1)."""
    mine: dict[HarpString, list[Note]] = {}
    for _, group in groupby(case.notes, key=lambda n: n.onset):
        struck: dict[HarpString, list[Note]] = {}
        for note in group:
            struck.setdefault(HarpString.of(note.pitch), []).append(note)
        for string, notes in struck.items():
            if len({n.pitch for n in notes}) == 1 and case.harp.gives(notes[0].pitch):
                mine.setdefault(string, []).append(notes[0])
    return {s: tuple(notes) for s, notes in mine.items()}


def _meant(sign: LeverSign, onset: Fraction, opening: bool,
           notes: Mapping[HarpString, Sequence[Note]], case: Case) -> list[HarpString]:
    """Strings that a mark without octave speaks of."""
    letter = [s for s in case.harp.strings if s.step == sign.step]
    if opening:
        return letter
    following = {s: n for s in letter
                 if (n := next((n for n in notes.get(s, ()) if n.onset >= onset), None))}
    wanting = [s for s, n in following.items() if n.pitch.alter == sign.alter]
    return wanting or sorted(following, key=lambda s: following[s].onset)[:1]


def _beyond(string: HarpString, sign: LeverSign, case: Case) -> str:
    """Why the harp cannot do it, "" if it can."""
    if not case.harp.has(string):
        return f"this harp has no string {string}"
    can = case.harp.alters(string)
    if sign.alter in can:
        return ""
    return f"the string {string} gives {' and '.join(string.pitch(a).label for a in can)}"


def not_given(case: Case, written: Written) -> Iterator[tuple[HarpString, int, int]]:
    """Notes that the marks do not give: string, rank among its notes, where it stands.

    Up to the next mark of the string only the first is told. Where the part shows nothing but the
    setting before the piece, the first note of each string is all that is compared.
    """
    entry = case.lever_entry or {}
    for string, notes in written.notes.items():
        signs = written.signs.get(string, ())
        if not (signs or string in entry or case.changes_marked):
            continue
        stands, at, told = entry.get(string), 0, False
        for rank, note in enumerate(notes):
            while at < len(signs) and signs[at].onset <= note.onset:
                stands, told, at = signs[at].alter, False, at + 1
            if stands is None:
                stands = note.pitch.alter  # set before the piece, unsaid
            if rank and not case.changes_marked:
                break
            if note.pitch.alter != stands and not told:
                yield string, rank, stands
                told = True


@dataclass(frozen=True, slots=True)
class Flip:
    """A marked change that is one; ``begin`` in seconds, after those marked before it."""

    sign: Sign
    before: int
    begin: float


def flips(case: Case, written: Written) -> list[Flip]:
    """Every flip that the marks ask for within the piece, in order.

    Of several marked at one moment the hand makes one after the other, the lowest string first.
    """
    entry = case.lever_entry or {}
    changed: list[tuple[Sign, int]] = []
    for string, signs in written.signs.items():
        stands = entry.get(string)
        for sign in signs:
            if stands is None:
                early = [n for n in written.notes.get(string, ()) if n.onset < sign.onset]
                stands = early[-1].pitch.alter if early else None
            if sign.onset > written.until and stands is not None and stands != sign.alter:
                changed.append((sign, stands))
            stands = sign.alter
    found: list[Flip] = []
    for sign, stands in sorted(changed, key=lambda c: (c[0].onset, c[0].string)):
        begin = case.seconds(sign.onset)
        if found:
            begin = max(begin, found[-1].begin + case.player.lever_move_seconds)
        found.append(Flip(sign, stands, begin))
    return found


def standing(case: Case, onset: Fraction) -> dict[HarpString, int]:
    """How the levers stand by the marks just before an onset, of strings of which that is known."""
    known = dict(case.lever_entry or {})
    for string, signs in written_levers(case).signs.items():
        before = [s.alter for s in signs if s.onset < onset]
        if before:
            known[string] = before[-1]
    return known


def marked_plan(case: Case) -> tuple[dict[HarpString, int], tuple[LeverMove, ...]] | None:
    """Setting of the strings in use and moves as marked, if marks stand and give every note."""
    written = written_levers(case)
    if not written.signs or any(True for _ in not_given(case, written)):
        return None
    if not case.changes_marked and any(len({n.pitch for n in notes}) > 1
                                       for notes in written.notes.values()):
        return None
    opening = {s: notes[0].pitch.alter for s, notes in written.notes.items() if notes}
    for string, signs in written.signs.items():
        early = [s.alter for s in signs if s.onset <= written.until]
        if early:
            opening[string] = early[-1]
    return opening, tuple(LeverMove(f.sign.onset, case.seconds(f.sign.onset), f.sign.string,
                                    f.before, f.sign.alter) for f in flips(case, written))


def unwritten(case: Case, plan: LeverPlan) -> LeverPlan:
    """What of a plan the marks of the part do not say yet; no opening where a setting stands."""
    written = written_levers(case)
    opened = any(s.onset <= written.until for signs in written.signs.values() for s in signs)
    return LeverPlan({} if opened else plan.opening, tuple(
        m for m in plan.moves if not _says(written, m)))


def _says(written: Written, move: LeverMove) -> bool:
    """Tell whether a mark between the same two notes of the string ends as the move does."""
    mine = written.notes.get(move.string, ())
    after = max((n.onset for n in mine if n.onset < move.onset), default=Fraction(-1))
    before = min((n.onset for n in mine if n.onset >= move.onset), default=None)
    inside = [s for s in written.signs.get(move.string, ())
              if s.onset > after and (before is None or s.onset <= before)]
    return bool(inside) and inside[-1].alter == move.after
