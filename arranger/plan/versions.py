"""Idiomatic versions of a texture: each a list of edits with its price, and their application.

Two unison strings for a fast repeated note (Berlioz, Grand traité, p. 88; Sibelius Academy harp
notation manual, tremolo: the lower string first), hands in turn, octaves in turn, broken or
thinned chords, doublings left out, chromatic runs cut down to chord notes (Berlioz p. 85).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import Harp
from arranger.model.ledger import Alteration, Drop, Edit, GiveToHand, OctaveShift, Respell
from arranger.model.score import NoteId
from arranger.plan.roles import Role
from arranger.plan.slices import in_order
from arranger.plan.textures import Texture
from arranger.plan.worth import worth

STAGE = "textures"


@dataclass(frozen=True, slots=True)
class Version:
    """Another way to play a texture: ``price`` is what its edits cost, by rules/prices.toml."""

    texture: Texture
    title: str
    edits: tuple[Alteration, ...]
    price: int

    @property
    def notes(self) -> frozenset[NoteId]:
        """Notes that are changed."""
        return frozenset(a.edit.note for a in self.edits)


@dataclass(frozen=True, slots=True)
class Field:
    """What offers are made from: the draft's notes, their roles, the harp and the prices."""

    notes: tuple[HarpNote, ...]
    roles: Mapping[NoteId, Role]
    harp: Harp
    prices: Mapping[str, int]
    pinned: frozenset[NoteId] = frozenset()


def versions(texture: Texture, field: Field) -> tuple[Version, ...]:
    """All versions of a texture, cheapest first; none that touches a note that was decided."""
    makers = _OFFERS.get(texture.kind, ())
    made = [_version(texture, title, rule, list(make(texture, field)), field)
            for title, rule, make in makers]
    return tuple(sorted((v for v in made if v.edits and not v.notes & field.pinned),
                        key=lambda v: v.price))


def apply(version: Version, draft: Draft) -> Draft:
    """Return the draft with the version's edits made and written into its ledger."""
    edits = {a.edit.note: a.edit for a in version.edits}
    kept: list[HarpNote] = []
    for note in draft.notes:
        match edits.get(note.id):
            case Drop():
                continue
            case Respell(_, pitch) | OctaveShift(_, pitch):
                kept.append(replace(note, pitch=pitch))
            case GiveToHand(_, hand):
                kept.append(replace(note, hand=hand))
            case _:
                kept.append(note)
    return replace(draft, notes=tuple(in_order(kept)), ledger=draft.ledger.plus(*version.edits))


def _version(texture: Texture, title: str, rule: str, edits: list[Edit],
             field: Field) -> Version:
    by_id = {n.id: n for n in texture.notes}
    price = 0
    for edit in edits:
        note = by_id[edit.note]
        match edit:
            case Drop():
                price += worth(note, field.roles[note.id], field.prices).drop
            case OctaveShift():
                price += field.prices["octave"]
            case Respell():
                price += field.prices["respell"]
            case _:
                price += field.prices["other_hand"]
    reason = f"{texture.kind}: {title}"
    return Version(texture, title, tuple(Alteration(e, rule, STAGE, reason) for e in edits), price)


def _two_strings(texture: Texture, field: Field) -> Iterator[Edit]:
    """Every second stroke on the unison string, the lower string first; never for D, G, A."""
    note = texture.notes[0]
    pair = sorted(field.harp.spellings(note.pitch.midi), key=lambda p: p.position)
    if len(pair) < 2 or len({n.source.grace for n in texture.notes}) > 1:
        return
    for at, each in enumerate(texture.notes):
        if each.pitch != pair[at % 2]:
            yield Respell(each.id, pair[at % 2])


def _hands_in_turn(texture: Texture, _: Field) -> Iterator[Edit]:
    first = texture.notes[0].hand
    other = "L" if first == "R" else "R"
    for at, attack in enumerate(texture.attacks):
        hand = other if at % 2 else first
        yield from (GiveToHand(n.id, hand) for n in attack if n.hand != hand)


def _octaves_in_turn(texture: Texture, field: Field) -> Iterator[Edit]:
    """Every second stroke an octave lower in the upper staff, higher in the lower; inner only."""
    way = -1 if texture.staff == 1 else 1
    moved = [attack[0] for attack in texture.attacks[1::2]]
    taken = {(n.onset, n.pitch.midi) for n in field.notes}
    if any(field.roles[n.id].tune or field.roles[n.id].bass
           or (n.onset, n.pitch.midi + 12 * way) in taken
           or not field.harp.gives(n.pitch.shifted(way)) for n in moved):
        return
    yield from (OctaveShift(n.id, n.pitch.shifted(way)) for n in moved)


def _every_second(texture: Texture, _: Field) -> Iterator[Edit]:
    for attack in texture.attacks[1::2]:
        yield from (Drop(n.id) for n in attack)


def _broken(texture: Texture, _: Field) -> Iterator[Edit]:
    """The chord broken in two: outer note of its hand on the beat, the others between."""
    outer = -1 if texture.staff == 1 else 0
    for at, attack in enumerate(texture.attacks):
        edge = attack[outer]
        yield from (Drop(n.id) for n in attack if (n is edge) == bool(at % 2))


def _whole_then_edge(texture: Texture, _: Field) -> Iterator[Edit]:
    """The whole chord once, then only its outer note again."""
    outer = -1 if texture.staff == 1 else 0
    for at, attack in enumerate(texture.attacks):
        if at % 2:
            yield from (Drop(n.id) for n in attack if n is not attack[outer])


def _one_of_the_octave(texture: Texture, _: Field) -> Iterator[Edit]:
    for attack in texture.attacks:
        yield Drop(attack[0 if texture.staff == 1 else -1].id)


def _shared(texture: Texture, _: Field) -> Iterator[Edit]:
    """The lower notes of the figure to the left hand, the upper ones to the right."""
    places = sorted({n.string.position for n in texture.notes})
    middle = places[len(places) // 2]
    for note in texture.notes:
        hand = "R" if note.string.position >= middle else "L"
        if note.hand != hand:
            yield GiveToHand(note.id, hand)


def _thinner_chords(texture: Texture, field: Field) -> Iterator[Edit]:
    """Doublings left out of the chords over the bass; one note of each stays at least."""
    for attack in texture.attacks:
        spare = [n for n in attack if field.roles[n.id].doubled
                 and not field.roles[n.id].tune and not field.roles[n.id].bass]
        yield from (Drop(n.id) for n in spare[:len(attack) - 1])


def _bass_alone(texture: Texture, _: Field) -> Iterator[Edit]:
    for attack in texture.attacks:
        if len(attack) == 2 and attack[1].pitch.midi - attack[0].pitch.midi == 12:
            yield Drop(attack[1].id)


def _chord_notes(texture: Texture, field: Field) -> Iterator[Edit]:
    """First and last of the run, and what belongs to the harmony struck or held with it."""
    ids = texture.ids
    for attack in texture.attacks[1:-1]:
        note = attack[0]
        under = _around(note, field, ids)
        if note.pitch.pitch_class not in under:
            yield Drop(note.id)


def _around(note: HarpNote, field: Field, own: Collection[NoteId]) -> frozenset[int]:
    return frozenset(n.pitch.pitch_class for n in field.notes if n.id not in own
                     and n.onset <= note.onset < n.source.end)


_Maker = Callable[[Texture, Field], Iterator[Edit]]
_OFFERS: Mapping[str, tuple[tuple[str, str, _Maker], ...]] = {
    "repeated note": (("two strings in unison", "R1", _two_strings),
                      ("the hands in turn", "R1", _hands_in_turn),
                      ("octaves in turn", "R1", _octaves_in_turn),
                      ("every second stroke", "R1", _every_second)),
    "repeated chord": (("the hands in turn", "R1", _hands_in_turn),
                       ("the chord broken in two", "R1", _broken),
                       ("the chord once, then its outer note", "R1", _whole_then_edge),
                       ("every second stroke", "R1", _every_second)),
    "tremolo": (("between the hands", "R1", _hands_in_turn),),
    "trill": (("between the hands", "R1", _hands_in_turn),),
    "octaves": (("one line of the octave", "T3", _one_of_the_octave),),
    "alberti": (("shared between the hands", "H6", _shared),),
    "broken chord": (("shared between the hands", "H6", _shared),),
    "arpeggio": (("shared between the hands", "H6", _shared),),
    "bass and chords": (("chords without doublings", "T3", _thinner_chords),
                        ("the bass without its octave", "T3", _bass_alone),
                        ("shared between the hands", "H6", _shared)),
    "chromatic run": (("only notes of the chord", "P5", _chord_notes),
                      ("every second note", "P5", _every_second)),
}
