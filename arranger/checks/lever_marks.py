"""The lever marks that stand in a part: compared with the notes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction

from arranger.checks.case import Case, hands_of
from arranger.checks.marked_levers import Flip, Written, flips, not_given, written_levers
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import HarpString, pedal_word
from arranger.model.mark_edits import InsertLever, PartEdit, RemoveLever
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.lever_time import LeftHand, Moment, free_moments

_EPS = 1e-6


def _moments(case: Case, others: Sequence[Flip]) -> list[Moment]:
    """Moments at which the left hand is free for a flip besides those that are marked."""
    free = free_moments(case.score, [a.onset for a in case.attacks],
                        LeftHand(_left(case), ()), [], case.player)
    takes = case.player.lever_move_seconds
    return [m for m in free if all(abs(m.seconds - f.begin) >= takes - _EPS for f in others)]


def _left(case: Case) -> tuple[float, ...]:
    """Seconds at which the left hand plucks."""
    hands = hands_of(case)
    return tuple(sorted({case.seconds(n.onset) for n in case.notes if hands[n.id] == "L"}))


def _cure(case: Case, written: Written, string: HarpString, rank: int, stands: int,
          moments: Sequence[Moment]) -> Iterator[Remedy]:
    """The marks that would serve a string from a note on up to the next mark of it, if any do."""
    notes = written.notes[string]
    note = notes[rank]
    ahead = next((s.onset for s in written.signs.get(string, ()) if s.onset > note.onset), None)
    if not rank and written.until >= 0:
        wrong = [s for s in written.signs.get(string, ()) if s.onset <= note.onset]
        onset = wrong[-1].onset if wrong else written.until
        edits: list[PartEdit] = [RemoveLever(onset, s.pitch) for s in wrong[-1:] if s.octave]
        yield Remedy(f"set {note.pitch.label} before the piece", "same-sound", 0,
                     (*edits, InsertLever(onset, note.pitch)))
        return
    edits, title, before = [], "", stands
    for k in range(rank, len(notes)):
        if ahead is not None and notes[k].onset >= ahead:
            break
        if notes[k].pitch.alter == before:
            continue
        moment = _moment(case, notes[k - 1] if k else None, notes[k], moments)
        if moment is None:
            return
        edits.append(InsertLever(moment, notes[k].pitch))
        title = title or f"mark lever {note.pitch.label} in {case.score.locate(moment)}"
        before = notes[k].pitch.alter
    yield Remedy(title, "same-sound", case.judge.prices["lever"] * len(edits), tuple(edits))


def _moment(case: Case, old: Note | None, new: Note, moments: Sequence[Moment]) -> Fraction | None:
    """Last free moment of the left hand between two notes of one string."""
    start = case.seconds(old.onset) if old is not None else -1.0
    end = case.seconds(new.onset) - case.player.lever_move_seconds
    at = bisect_right(moments, end + _EPS, key=lambda m: m.seconds)
    return moments[at - 1].onset if at and moments[at - 1].seconds > start + _EPS else None


def unmarked(case: Case) -> Iterator[Diagnostic]:
    """K4: a note that the levers do not give as they are marked."""
    written = written_levers(case)
    if not written and case.lever_entry is None:
        return
    moments: list[Moment] = []
    for string, rank, stands in not_given(case, written):
        moments = moments or _moments(case, flips(case, written))
        note = written.notes[string][rank]
        yield case.say("K4", "error", f"{note.pitch.label} is wanted, but by the marks its lever "
                       f"leaves it at {string.pitch(stands).label}", (note,),
                       remedies=_cure(case, written, string, rank, stands, moments))


def hurried(case: Case) -> Iterator[Diagnostic]:
    """K5: a marked change for which the left hand is not free, or which its string cannot wait for.

    A warning where another moment would serve.
    """
    written = written_levers(case)
    moved = flips(case, written)
    left = _left(case) if moved else ()
    lead = case.player.placing_lead_seconds
    for flip in moved:
        end = flip.begin + case.player.lever_move_seconds
        mine = written.notes.get(flip.sign.string, ())
        under = [n for n in mine if n.onset >= flip.sign.onset
                 and flip.begin - _EPS <= case.seconds(n.onset) < end - _EPS]
        at = bisect_right(left, flip.begin + _EPS)
        late = at < len(left) and left[at] < end + lead - _EPS
        if not under and not late:
            continue
        word = flip.sign.pitch.label
        why = (f"{under[0].pitch.label} is plucked while its lever is moved" if under else
               f"the left hand plucks {left[at] - flip.begin:.2f} s after it begins to move the "
               f"lever of {word}")
        old = [n for n in mine if n.onset < flip.sign.onset]
        new = [n for n in mine if n.onset >= flip.sign.onset]
        moments = _moments(case, [f for f in moved if f is not flip])
        better = _moment(case, old[-1] if old else None, new[0], moments) if new else None
        remedies = [] if better is None or better == flip.sign.onset else [Remedy(
            f"mark lever {word} in {case.score.locate(better)}", "same-sound", 0,
            (RemoveLever(flip.sign.onset, flip.sign.pitch), InsertLever(better, flip.sign.pitch)))]
        yield case.say("K5", "warning" if remedies else "error", why, tuple(under[:1]),
                       onset=flip.sign.onset, remedies=remedies)


def idle(case: Case) -> Iterator[Diagnostic]:
    """K6: a mark that nothing on this harp answers, or that says what stands already."""
    written = written_levers(case)
    for onset, asked, why in written.idle:
        pitch = Pitch(asked.step, asked.alter, asked.octave or 4)
        word = pitch.label if asked.octave else pedal_word(asked.step, asked.alter)
        yield case.say("K6", "warning", f"a lever is marked for {word}: {why}", onset=onset,
                       remedies=[Remedy("take the mark away", "same-sound", 0,
                                        (RemoveLever(onset, pitch),))])
    for string, signs in written.signs.items():
        stands = (case.lever_entry or {}).get(string)
        for sign in signs:
            if sign.alter == stands and sign.octave and sign.onset > written.until:
                yield case.say("K6", "advice", f"lever {sign.pitch.label} is marked where the "
                               f"string stands so already", onset=sign.onset, remedies=[Remedy(
                                   "take the mark away", "same-sound", 0,
                                   (RemoveLever(sign.onset, sign.pitch),))])
            stands = sign.alter


CHECKS = {"K4": unmarked, "K5": hurried, "K6": idle}
