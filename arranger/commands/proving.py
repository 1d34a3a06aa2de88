"""What a command proves of its own work before anything is published."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from arranger.checks.account import faults
from arranger.commands.request import Request, SelfCheckError
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.proofreading import Place, Plucked, Proof, note_faults, pedal_faults, proofs
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft, HarpNote
from arranger.model.score import NoteId
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings

#: Settings of ``--pedals`` under which every move stands on paper.
_ALL_MOVES = ("all", "changes")


def accounted(request: Request, draft: Draft) -> None:
    """Replay the ledger on the source: it must give the draft.

    Raises
    ------
    SelfCheckError
        It does not.
    """
    wrong = faults(draft)
    if wrong:
        raise SelfCheckError(f"{request.source}: the ledger does not account for the draft "
                             f"({wrong[0]}); please report this with the file")


def read_back(request: Request, xml: bytes, draft: Draft) -> Mapping[NoteId, Fraction]:
    """Read what is to be published: every note must stand where the draft has it.

    Returns the length of every note as it is written.

    Raises
    ------
    SelfCheckError
        Another note is written than was meant.
    """
    score = read(parse(xml, "draft.musicxml"), "draft.musicxml").score
    written = {(n.onset, n.midi): n.duration for n in score.part_notes(score.parts[-1].id)
               if not n.grace}
    meant = {(n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace}
    if written.keys() != meant:
        onset, midi = min(written.keys() ^ meant)
        bar = draft.source.locate(onset).bar
        raise SelfCheckError(f"{request.source}: bar {bar}: the written draft does not have the "
                             f"notes meant (MIDI {midi}); please report this with the file")
    return {n.id: written[n.onset, n.pitch.midi] for n in draft.notes if not n.source.grace}


def proofread(request: Request, xml: bytes, draft: Draft, settings: Settings,
              errors: Sequence[Diagnostic]) -> None:
    """Read the draft in another way than it was written: strings, hands, and the pedals replayed.

    Where something cannot be played as it stands, the pedals are not asked.

    Raises
    ------
    SelfCheckError
        Paper and plan differ.
    """
    *_, proof = proofs(xml).values()
    plucked = _plucked(draft)
    _told(request, draft, note_faults(proof, plucked))
    if not errors:
        _pedals(request, proof, plucked, draft, settings)


def only_added_to(request: Request, before: bytes, marked: bytes, draft: Draft) -> None:
    """Compare a marked file with the composer's: every note of every part must be as it was.

    Raises
    ------
    SelfCheckError
        A note was changed.
    """
    old, new = proofs(before), proofs(marked)
    for part, proof in old.items():
        after = new[part].notes if part in new else ()
        if proof.notes != after:
            place = next((one.place for one, other in zip(proof.notes, after, strict=False)
                          if one != other), (0, Fraction(0)))
            _told(request, draft, [(place, "a note of the part was changed")])


def marked_pedals(request: Request, marked: bytes, draft: Draft, settings: Settings,
                  errors: Sequence[Diagnostic]) -> None:
    """Replay the pedals that were marked into a part in which there were none.

    Raises
    ------
    SelfCheckError
        They do not give the notes of the part.
    """
    if not errors:
        _pedals(request, proofs(marked)[draft.part], _plucked(draft), draft, settings)


def stable(request: Request, xml: bytes, settings: Settings, draft: Draft) -> None:
    """Arrange the written draft again: nothing may change.

    Raises
    ------
    SelfCheckError
        A string, hand, finger, roll or pedal would be another.
    """
    root = parse(xml, "draft.musicxml")
    again = as_harp_part(root, (root.findall("part")[-1].get("id", ""),))
    document = read(again.root, "draft.musicxml")
    second = arrange(document.score, again.part_id, settings).draft
    if second.ledger.entries or _faces(second) != _faces(draft):
        raise SelfCheckError(f"{request.source}: arranging the draft again would change it; "
                             f"please report this with the file")


def _faces(draft: Draft) -> tuple[object, ...]:
    """All that one draft may differ from another in."""
    notes = sorted((n.onset, n.source.grace, n.pitch.midi, n.pitch.name, n.hand, n.finger or 0,
                    n.rolled) for n in draft.notes)
    return (notes, draft.plan.opening, [replace(m, seconds=0.0) for m in draft.plan.moves],
            draft.levers)


def _plucked(draft: Draft) -> tuple[Plucked, ...]:
    """The notes of a draft as they must stand on paper."""
    bars = draft.source.measures

    def one(note: HarpNote) -> Plucked:
        bar = bars[note.source.measure]
        return Plucked((bar.index, note.onset - bar.onset), note.pitch.step, note.pitch.alter,
                       note.pitch.octave, 1 if note.hand == "R" else 2, note.source.grace)
    return tuple(map(one, draft.notes))


def _pedals(request: Request, proof: Proof, plucked: Iterable[Plucked], draft: Draft,
            settings: Settings) -> None:
    if settings.harp.mechanism != "pedal" or request.pedals not in _ALL_MOVES:
        return
    sure = [n for n in plucked if not n.grace and abs(n.alter) < 2]
    fixed = frozenset((s.step, s.octave) for s in draft.plan.fixed)
    _told(request, draft, pedal_faults(proof, sure, draft.source.playing_order, fixed))


def _told(request: Request, draft: Draft, found: Iterable[tuple[Place, str]]) -> None:
    for (bar, _), words in found:
        raise SelfCheckError(f"{request.source}: bar {draft.source.measures[bar].number}: what was "
                             f"written does not agree with what was planned ({words}); please "
                             f"report this with the file")
