"""Hands and fingers: nobody plucks what a hand cannot hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString
from arranger.model.ledger import Alteration, Drop, OctaveShift
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.fingers import fingerings
from arranger.plan.hand_options import Option, Tone, options
from arranger.plan.hand_path import hand_path
from arranger.plan.pinned import pinned_options, pinned_tone
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, in_order, slices
from arranger.plan.worth import worth

STAGE = "hands"


@dataclass(frozen=True, slots=True)
class Handed:
    """The draft in two hands, and the price of the path."""

    draft: Draft
    total: int


def give_hands(draft: Draft, settings: Settings) -> Handed:
    """Share the notes between the hands exactly (see ``plan.hand_path``) and give fingers."""
    part_roles = roles(draft.notes)
    played = [replace(s, notes=tuple(sorted(s.notes, key=lambda n: n.string)))
              for s in slices([n for n in draft.notes if not n.source.grace], draft.source.tempo)]
    places = frozenset(s.position for s in settings.harp.strings if s not in draft.plan.fixed)
    rows = [pinned_options(options([_tone(n, part_roles[n.id], s, settings) for n in s.notes],
                                   settings.player, settings.prices, places),
                           [settings.pins.of(n.id) for n in s.notes],
                           [n.rolled for n in s.notes], settings.prices["roll"]) for s in played]
    total, path = hand_path(rows, [s.seconds for s in played], settings.player, settings.prices)
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for here, option in zip(played, path, strict=True):
        taken, lines = _take(here, option, part_roles, settings)
        kept += taken
        made += lines
    graces = [_follow(n, kept) for n in draft.notes if n.source.grace]
    notes = in_order((*kept, *graces))
    done = replace(draft, notes=tuple(notes), ledger=draft.ledger.plus(*made))
    return Handed(give_fingers(done, settings), total)


def _tone(note: HarpNote, role: Role, here: Slice, settings: Settings) -> Tone:
    length = note.source.duration
    roll = (not note.source.marks & {"staccato", "staccatissimo", "non-arpeggiate"}
            and len(here.notes) >= 3 and length >= 1)
    tone = Tone(pitch=note.pitch, hand=note.hand,
                drop=worth(note, role, settings.prices).drop,
                fixed=bool(role.tune or role.bass), roll=roll, rolled=note.rolled,
                chord=note.source.chord)
    return pinned_tone(tone, settings.pins.of(note.id))


def _take(here: Slice, option: Option, part_roles: Mapping[NoteId, Role],
          settings: Settings) -> tuple[list[HarpNote], list[Alteration]]:
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    seen: set[int] = set()
    for which, hand in (("L", option.left), ("R", option.right)):
        for i, pitch in hand.tones:
            seen.add(i)
            note = here.notes[i]
            if pitch != note.pitch:
                made.append(Alteration(OctaveShift(note.id, pitch), "H2", STAGE,
                                       f"{note.pitch.label} lies outside both hands' grip"))
            kept.append(replace(note, pitch=pitch, hand=which, rolled=hand.rolled))
    made += [Alteration(Drop(note.id), *_loss(note, here, part_roles[note.id], settings))
             for i, note in enumerate(here.notes) if i not in seen]
    return kept, made


def _loss(note: HarpNote, here: Slice, role: Role, settings: Settings) -> tuple[str, str, str]:
    """Rule, stage and reason for a note that no hand can take."""
    if len(here.notes) > 2 * settings.player.fingers_per_hand:
        return "H1", STAGE, (f"{role.word} {note.pitch.label}: {len(here.notes)} strings at once, "
                             f"two hands have {2 * settings.player.fingers_per_hand} fingers")
    return "H2", STAGE, (f"{role.word} {note.pitch.label}: no hand can hold it with the rest of "
                         f"the chord")


def _follow(grace: HarpNote, kept: Sequence[HarpNote]) -> HarpNote:
    """Give a grace note to the hand of the nearest note it leans on."""
    near = [n for n in kept if n.onset == grace.onset]
    if not near:
        return grace
    own = [n for n in near if n.source.staff == grace.source.staff] or near
    lean = min(own, key=lambda n: (abs(n.pitch.midi - grace.pitch.midi), n.id))
    return replace(grace, hand=lean.hand, rolled=False)


def give_fingers(draft: Draft, settings: Settings) -> Draft:
    """Finger every note but graces."""
    fingers: dict[NoteId, int] = {}
    for hand in "LR":
        grips: dict[float, list[HarpNote]] = {}
        for here in slices([n for n in draft.notes if n.hand == hand and not n.source.grace],
                           draft.source.tempo):
            grips[here.seconds] = sorted(here.notes, key=lambda n: n.string)
        strings = [tuple(HarpString.of(n.pitch).position for n in g) for g in grips.values()]
        for grip, chosen in zip(grips.values(),
                                fingerings(strings, list(grips), settings.player), strict=True):
            fingers |= {n.id: f for n, f in zip(grip, chosen, strict=True)}
    return replace(draft, notes=tuple(replace(n, finger=fingers.get(n.id))
                                      for n in draft.notes))
