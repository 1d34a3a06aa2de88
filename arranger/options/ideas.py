"""What could be done at a spot: each idea is one choice, said as a harpist would say it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.model.choice import Choice
from arranger.model.draft import Draft, HarpNote, PedalMove
from arranger.model.harp import Harp, pedal_word
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId, beat_name
from arranger.options.matching import Ground, Placed, pins_of, place_choice
from arranger.options.spots import Spot
from arranger.options.still import altered_notes, standing
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, slices
from arranger.plan.stand_ins import stand_ins

_SIGN = {-1: "♭", 0: "", 1: "♯"}
_HAND = {"R": "right", "L": "left"}
#: Notes of a spot that are looked at, and of these the ones that may give way: on 16 scores no
#: other was ever the better one to lose, two of 40 the better to become another.
_NOTES, _MAY_GO = 6, 3
#: Quarter notes from which on a note of the tune is never replaced for comfort (common practice).
_BEAT = 1
#: Below it the lowest note is called a bass.
_MIDDLE_C = 60
#: Risks that another moment of a pedal can lessen.
_OF_TIME = frozenset({"crowd", "ring", "two-notch"})
#: Those where a note is lost as it is, or commonly left out.
_LOSSES = frozenset({"altered", "fifth"})


@dataclass(frozen=True, slots=True)
class Idea:
    """One thing that could be done, and its name."""

    placed: Placed
    title: str

    @property
    def choice(self) -> Choice:
        """The choice it stands for."""
        return self.placed.choice


@dataclass(frozen=True, slots=True)
class Workshop:
    """A draft with what every note of its source is, made ready once for all spots."""

    draft: Draft
    settings: Settings
    ground: Ground
    written: Mapping[NoteId, Note]
    roles: Mapping[NoteId, Role]
    slices: Mapping[Fraction, Slice]
    played: Mapping[NoteId, HarpNote]

    @classmethod
    def of(cls, draft: Draft, settings: Settings) -> Workshop:
        """Lay a draft out."""
        first = start(draft.source, draft.part)
        return cls(draft, settings, Ground(draft.source, draft.part),
                   {n.id: n.source for n in first.notes}, roles(first.notes),
                   {s.onset: s for s in slices(first.notes, draft.source.tempo)},
                   {n.id: n for n in draft.notes})

    def idea(self, note: Note, kind: str, value: str | int | bool, title: str) -> Idea:
        """An idea about a note of the source."""
        where = self.ground.place(note)
        bare = Choice(where.bar, where.beat, note.pitch, kind, value)
        choice = place_choice(bare, where, note, self.ground)
        pins, _ = pins_of(choice, note.onset, note, self.settings.harp, self.ground)
        return Idea(Placed(choice, pins, note.id), title)


def ideas(spot: Spot, shop: Workshop, as_it_is: bool = False,
          at_a_loss: bool = False) -> list[Idea]:
    """What could be done at a spot, without repetition.

    ``as_it_is``: no note may be altered; strings, hands, rolls and pedals only. ``at_a_loss``:
    a tune or a bass may be given up, as it may where something is lost as it is.
    """
    found: list[Idea] = []
    kinds = {r.kind for r in spot.risks}
    of_hands = {n for r in spot.risks if r.kind not in _OF_TIME for n in r.notes}
    for rank, ident in enumerate(spot.notes[:_NOTES]):
        note = shop.written[ident]
        if note.grace:
            continue
        found += _strings(note, shop)
        if ident in of_hands:
            found += [*_hands(note, shop), *_trills(note, shop), *_rolls(note, shop)]
        if not as_it_is and rank < _MAY_GO:
            found += [*_other_notes(note, shop, at_a_loss or bool(kinds & _LOSSES))]
    if "turn" in kinds:
        found += _split(spot, shop)
    if kinds & _OF_TIME:
        found += [i for m in _moves(spot, shop) for i in _moments(m, shop)]
        if not as_it_is:
            found += _still(spot, shop)
    return [_where(i, spot, shop)
            for i in {i.choice.id: i for i in found if i.placed.pins}.values()]


def _where(idea: Idea, spot: Spot, shop: Workshop) -> Idea:
    """The idea, whose title says where its note stands if that is not where the spot is."""
    note = shop.written.get(idea.placed.note or "")
    if note is None or note.onset == spot.where.onset or idea.choice.kind == "still":
        return idea
    where = shop.ground.place(note)
    same_bar = where.bar_index == spot.where.bar_index
    told = f"beat {beat_name(where.beat)}" if same_bar else str(where)
    return replace(idea, title=f"{told}: {idea.title}")


def _role(note: Note, shop: Workshop) -> str:
    """What the note is to the music, in a word."""
    role = shop.roles[note.id]
    if role.tune and role.bass:
        return ""
    return ("tune's " if role.tune else "bass " if role.bass and note.midi < _MIDDLE_C else
            "doubled " if role.doubled else "")


def _strings(note: Note, shop: Workshop) -> Iterator[Idea]:
    now = shop.played.get(note.id)
    for pitch in shop.settings.harp.spellings(note.midi):
        other = note.pitch if now is None else now.pitch
        if pitch != other and other.midi == note.midi:
            do = "keep" if now is None else "play"
            how = "" if now is None or pitch != note.pitch else " as written"
            yield shop.idea(note, "string", pitch.step,
                            f"{do} {note.pitch.label}{how} on the "
                            f"{pitch.step}{_SIGN[pitch.alter]} string")


def _hands(note: Note, shop: Workshop) -> Iterator[Idea]:
    now = shop.played.get(note.id)
    if now is not None:
        other = "L" if now.hand == "R" else "R"
        yield shop.idea(note, "hand", other,
                   f"give the {_role(note, shop)}{note.pitch.label} to the {_HAND[other]} hand")


def _trills(note: Note, shop: Workshop) -> Iterator[Idea]:
    """Share the trill of which the note is one between both hands (C. Swanson: the other way)."""
    first = shop.ground.lower_of_trill(note)
    now = None if first is None else shop.played.get(first.id)
    if first is None or now is None:
        return
    other = "L" if now.hand == "R" else "R"
    onsets = {n.onset for n in shop.ground.trill(first)}
    if not any(n.hand == other and n.onset in onsets for n in shop.draft.notes):
        yield shop.idea(first, "trill", other, f"trill with both hands: the {_HAND[other]} hand "
                                               f"takes the {first.pitch.label}s")


def _other_notes(note: Note, shop: Workshop, at_a_loss: bool) -> Iterator[Idea]:
    """Leave the note out, keep it after all, sound another one or another octave of it.

    ``at_a_loss``: something is lost here as it is. Else no tune or bass is given up, but for
    short notes of a tune that become others of the harmony: nobody would for comfort.
    """
    now, role = shop.played.get(note.id), shop.roles[note.id]
    name = f"{_role(note, shop)}{note.pitch.label}"
    filling = at_a_loss or not (role.tune or role.bass)
    if now is not None and filling:
        yield shop.idea(note, "drop", True, f"leave out the {name}")
    if now is None or now.pitch.midi != note.midi:
        yield shop.idea(note, "keep", True, f"keep the {name} after all")
    here = shop.slices[note.onset]
    me = next(n for n in here.notes if n.id == note.id)
    figure = filling or (not role.bass and note.duration < _BEAT)
    for midi in stand_ins(me, here, role)[:2] if figure else ():
        for pitch in _as_near(midi, note.pitch, shop.settings.harp):
            if now is None or now.pitch.midi != midi:
                yield shop.idea(note, "pitch", pitch.name,
                           f"play {pitch.label}, a note of the harmony, in place of the {name}")
    if not role.tune and not role.bass:
        for octaves, where in ((1, "higher"), (-1, "lower")):
            lowest = min(n.pitch.midi for n in here.notes)
            highest = max(n.pitch.midi for n in here.notes)
            other = note.midi + 12 * octaves
            if lowest < other < highest and all(n.pitch.midi != other for n in here.notes):
                yield shop.idea(note, "octave", octaves,
                           f"play the {name} an octave {where}")


def _as_near(midi: int, like: Pitch, harp: Harp) -> list[Pitch]:
    """The spelling with a sign of the same kind as the note it stands in for, or a plain one."""
    found = harp.spellings(midi)
    return sorted(found, key=lambda p: (abs(p.alter), p.alter * like.alter < 0, p))[:1]


def _rolls(note: Note, shop: Workshop) -> Iterator[Idea]:
    now = shop.played.get(note.id)
    if now is None:
        return
    grip = [n for n in shop.draft.notes
            if n.onset == now.onset and n.hand == now.hand and not n.source.grace]
    staff = shop.ground.struck(note.onset, note.staff)
    if len(grip) < 3 or len(staff) < 3:
        return
    first = min(staff, key=lambda n: n.midi)
    if now.rolled:
        yield shop.idea(first, "roll", False,
                   f"pluck the {_HAND[now.hand]} hand's chord at once, not rolled")
    elif not note.marks & {"staccato", "staccatissimo", "non-arpeggiate"}:
        yield shop.idea(first, "roll", True,
                   f"roll the {_HAND[now.hand]} hand's chord from the bottom: the fourth finger "
                   f"is placed first")


def _split(spot: Spot, shop: Workshop) -> Iterator[Idea]:
    """Give the line to the other hand from its turn on."""
    turn = next(r for r in spot.risks if r.kind == "turn")
    now = shop.played[turn.notes[0]]
    other = "L" if now.hand == "R" else "R"
    yield shop.idea(now.source, "line", other,
               f"split the run before the {now.pitch.label}: the {_HAND[other]} hand takes over")


def _still(spot: Spot, shop: Workshop) -> Iterator[Idea]:
    """Move no pedal in the bar: what is foreign to the strings becomes a note of the harmony."""
    bar = spot.where.bar_index - 1
    notes, fifths = shop.ground.notes, shop.draft.source.measures[bar].fifths
    foreign = altered_notes(notes, bar, standing(notes, bar, fifths))
    if foreign:
        names = ", ".join(dict.fromkeys(n.pitch.label for n in foreign))
        yield shop.idea(foreign[0], "still", True,
                        f"leave the pedals still in this bar: {names} "
                        f"{'becomes a note' if len(foreign) == 1 else 'become notes'} of the "
                        f"harmony")


def _moves(spot: Spot, shop: Workshop) -> list[PedalMove]:
    """Moves that serve the notes of a spot."""
    found = []
    for one in spot.risks:
        if one.kind in _OF_TIME:
            users = [shop.played[n] for n in one.notes if n in shop.played]
            for move in shop.draft.plan.moves:
                if any(u.pitch.step == move.pedal and u.pitch.alter == move.after
                       and move.onset <= u.onset for u in users):
                    near = [u.onset for u in users if u.pitch.step == move.pedal
                            and u.pitch.alter == move.after and u.onset >= move.onset]
                    if min(near) - move.onset <= 8:
                        found.append(move)
    return list(dict.fromkeys(found))


def _moments(move: PedalMove, shop: Workshop) -> Iterator[Idea]:
    """The same move on another beat between the last use of the old and the first of the new."""
    draft = shop.draft
    own = [n.onset for n in draft.notes if n.pitch.step == move.pedal]
    after = max((o for o in own if o < move.onset), default=None)
    before = min((o for o in own if o >= move.onset), default=None)
    if after is None or before is None:
        return
    bar = draft.source.measure_at(move.onset)
    unit = bar.unit
    sign = {-1: "b", 0: "", 1: "#"}[move.after]
    first = bar.onset + ((move.onset - bar.onset) // unit) * unit
    for onset in (first - 2 * unit, first - unit, first, first + unit):
        if after < onset < before and onset != move.onset:
            where = draft.source.locate(onset)
            bare = Choice(where.bar, where.beat, None, "pedal", move.pedal + sign)
            choice = place_choice(bare, where, None, shop.ground)
            pins, _ = pins_of(choice, onset, None, shop.settings.harp, shop.ground)
            yield Idea(Placed(choice, pins),
                       f"move pedal {pedal_word(move.pedal, move.after)} "
                       f"{'earlier' if onset < move.onset else 'later'}, to {where}")
