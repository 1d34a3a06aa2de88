"""Find the notes that choices are about, also in a later edition, and turn choices into pins.

A choice is looked for by its sounding note and by what is struck around it; the printed bar and
beat only decide between places whose surroundings agree equally well. Where bars were inserted,
the choices found without doubt tell by how many bars the others have moved.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from statistics import median_low

from arranger.model.choice import Around, Choice
from arranger.model.harp import Harp
from arranger.model.pins import PedalPin, Pin, Pins
from arranger.model.pitch import Pitch
from arranger.model.score import Location, Note, NoteId, Score
from arranger.options.still import still_pins
from arranger.plan.trills import TRILL_NOTES, TRILL_STEPS

#: Attacks on each side that a choice remembers (assumption).
REACH = 6
#: Notes that a hand takes over of a line at most: what it places at once (Kuntz, post 990).
LINE = 4
#: Least agreement of the surroundings, 0 to 1, for a note elsewhere to be the same (assumption).
_LEAST = 0.6
#: Agreement within which two places count as equally good.
_EQUAL = 0.05
_SIGN = {"": 0, "#": 1, "b": -1}


@dataclass(frozen=True, slots=True)
class Placed:
    """A choice where it stands in this score. ``choice`` says the place as it is now printed.

    ``before``: the choice as it was given, where its bar or beat has changed.
    """

    choice: Choice
    pins: Pins
    note: NoteId | None = None
    before: Choice | None = None


@dataclass(frozen=True, slots=True)
class Matched:
    """Choices found, those no longer found, and those that the instrument cannot give."""

    placed: tuple[Placed, ...] = ()
    lost: tuple[Choice, ...] = ()
    impossible: tuple[tuple[Choice, str], ...] = ()

    @property
    def pins(self) -> Pins:
        """All pins together."""
        pins = Pins()
        for one in self.placed:
            pins = pins.plus(one.pins)
        return pins


class Ground:
    """The notes of a part, laid out for looking up places and surroundings."""

    def __init__(self, score: Score, part: str) -> None:
        self.score = score
        self.notes = score.part_notes(part)
        attacks: dict[Fraction, set[Note]] = {}
        for note in self.notes:
            if not note.grace:
                attacks.setdefault(note.onset, set()).add(note)
        self.onsets = sorted(attacks)
        self._names = [" ".join(n.pitch.name for n in sorted(attacks[o], key=lambda n: n.midi))
                       for o in self.onsets]
        self._midis = [frozenset(n.midi for n in attacks[o]) for o in self.onsets]

    def around(self, onset: Fraction, note: Note | None = None) -> Around:
        """What is struck around a moment."""
        low, high = bisect_left(self.onsets, onset), bisect_right(self.onsets, onset)
        beside = " ".join(n for row in self._names[low:high] for n in row.split()
                          if note is None or n != note.pitch.name)
        return Around(tuple(self._names[max(0, low - REACH):low]), beside,
                      tuple(self._names[high:high + REACH]))

    def agreement(self, around: Around, onset: Fraction, midi: int | None) -> float:
        """How far the surroundings of a moment are those remembered, 0 to 1."""
        low, high = bisect_left(self.onsets, onset), bisect_right(self.onsets, onset)
        here = frozenset(m for row in self._midis[low:high] for m in row) - {midi}
        pairs = [(_midis(around.beside), here)]
        for names, found in ((around.before[::-1], self._midis[max(0, low - REACH):low][::-1]),
                             (around.after, self._midis[high:high + REACH])):
            pairs += [(_midis(names[i]), found[i] if i < len(found) else frozenset())
                      for i in range(len(names))]
        likes = [len(a & b) / len(a | b) if a | b else 1.0 for a, b in pairs]
        return sum(likes) / len(likes)

    def struck(self, onset: Fraction, staff: int) -> list[Note]:
        """Notes of one staff attacked at a moment."""
        return [n for n in self.notes if n.onset == onset and n.staff == staff and not n.grace]

    def line(self, note: Note) -> list[Note]:
        """The note and the single notes of its staff that go on in one direction, up to four."""
        found, way = [note], 0
        for onset in self.onsets[bisect_right(self.onsets, note.onset):]:
            struck = self.struck(onset, note.staff)
            step = struck[0].pitch.position - found[-1].pitch.position if struck else 0
            if len(struck) != 1 or not step or way * step < 0 or len(found) == LINE:
                break
            found.append(struck[0])
            way = step
        return found

    def trill(self, note: Note) -> list[Note]:
        """The note, if a trill begins with it, and all later notes of the trill on its string."""
        run = self._in_turn(note, 1)
        return run[::2] if len(run) >= TRILL_NOTES else []

    def lower_of_trill(self, note: Note) -> Note | None:
        """First note on the lower string of the trill that a note belongs to; None: to none."""
        run = self._in_turn(self._in_turn(note, -1)[-1], 1)
        lower = [n for n in run[:2] if n.pitch.position == min(m.pitch.position for m in run[:2])]
        return lower[0] if note in run and lower and self.trill(lower[0]) else None

    def _in_turn(self, note: Note, way: int) -> list[Note]:
        """From a note on, later (1) or earlier (-1), single notes of its staff on two strings."""
        run = [note]
        at = bisect_left(self.onsets, note.onset)
        for onset in self.onsets[at + 1:] if way > 0 else reversed(self.onsets[:at]):
            struck = self.struck(onset, note.staff)
            steps = struck[0].pitch.position - run[-1].pitch.position if struck else 0
            if len(struck) != 1 or not 0 < abs(steps) <= TRILL_STEPS or (
                    len(run) > 1 and struck[0].pitch != run[-2].pitch):
                break
            run.append(struck[0])
        return run

    def place(self, note: Note) -> Location:
        """Bar and beat of a note as printed."""
        return self.score.locate(note.onset, None if note.grace else note.measure)


def _midis(names: str) -> frozenset[int]:
    found = set()
    for name in names.split():
        try:
            found.add(Pitch.parse(name).midi)
        except ValueError:
            continue
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class _Spot:
    """A candidate: the moment, its note if the choice is about one, how well it agrees."""

    where: Location
    note: Note | None
    agreement: float
    same_place: bool


def match(choices: Sequence[Choice], score: Score, part: str, harp: Harp) -> Matched:
    """Find every choice in a score."""
    ground = Ground(score, part)
    candidates = [_candidates(c, ground) for c in choices]
    shift = _shift(choices, candidates)
    placed: list[Placed] = []
    lost: list[Choice] = []
    impossible: list[tuple[Choice, str]] = []
    for choice, spots in zip(choices, candidates, strict=True):
        spot = _best(choice, spots, shift)
        if spot is None:
            lost.append(choice)
            continue
        now = place_choice(choice, spot.where, spot.note, ground)
        moved = choice if (choice.bar, choice.beat) != (now.bar, now.beat) else None
        pins, why = pins_of(now, spot.where.onset, spot.note, harp, ground)
        if why:
            impossible.append((now, why))
        else:
            placed.append(Placed(now, pins, spot.note.id if spot.note else None, moved))
    return Matched(tuple(placed), tuple(lost), tuple(impossible))


def place_choice(choice: Choice, where: Location, note: Note | None, ground: Ground) -> Choice:
    """The choice with its place as printed here, and with what is struck around it."""
    twice = sum(m.number == where.bar for m in ground.score.measures) > 1
    return replace(choice, bar=where.bar, beat=where.beat,
                   index=where.bar_index if twice else None,
                   note=note.pitch if note else None, around=ground.around(where.onset, note))


def _candidates(choice: Choice, ground: Ground) -> list[_Spot]:
    places: list[tuple[Location, Note | None]]
    if choice.note is None:
        places = [(ground.score.locate(m.onset + (choice.beat - 1) * 4 / m.beat_type, m.index),
                   None) for m in ground.score.measures]
    else:
        places = [(ground.place(n), n) for n in ground.notes if n.midi == choice.note.midi]
    found = []
    for where, note in places:
        agrees = ground.agreement(choice.around, where.onset, note.midi if note else None) \
            if choice.around else 0.0
        same = (where.bar == choice.bar and abs(where.beat - choice.beat) <= Fraction(1, 50)
                and choice.index in (None, where.bar_index))
        found.append(_Spot(where, note, agrees, same))
    if not choice.around:
        return [s for s in found if s.same_place]
    return [s for s in found if s.agreement >= _LEAST]


def _leading(spots: Sequence[_Spot]) -> list[_Spot]:
    """The places that agree best."""
    most = max((s.agreement for s in spots), default=0.0)
    return [s for s in spots if s.agreement >= most - _EQUAL]


def _shift(choices: Sequence[Choice], candidates: Sequence[Sequence[_Spot]]) -> int:
    """Bars by which the choices without doubt have moved (the middle of them)."""
    moved = []
    for choice, spots in zip(choices, candidates, strict=True):
        leading = _leading(spots)
        old, new = _number(choice.bar), _number(leading[0].where.bar) if leading else None
        if len(leading) == 1 and old is not None and new is not None:
            moved.append(new - old)
    return median_low(moved) if moved else 0


def _best(choice: Choice, spots: Sequence[_Spot], shift: int) -> _Spot | None:
    leading = _leading(spots)
    if not leading:
        return None
    old = _number(choice.bar)

    def rank(spot: _Spot) -> tuple[object, ...]:
        new = _number(spot.where.bar)
        off = abs(new - old - shift) if new is not None and old is not None else 0
        return (not spot.same_place if not shift else False, off,
                abs(spot.where.beat - choice.beat), spot.where.onset)
    return min(leading, key=rank)


def _number(bar: str) -> int | None:
    return int(bar) if bar.isdecimal() else None


def pins_of(choice: Choice, onset: Fraction, note: Note | None, harp: Harp,
            ground: Ground) -> tuple[Pins, str]:
    """Pins of a choice about ``note``, or why this harp cannot give it.

    A roll is asked of all notes struck with it on its staff.
    """
    if note is None:
        letter, sign = str(choice.value)[0], str(choice.value)[1:]
        return Pins(pedals=(PedalPin(letter, _SIGN[sign], onset),)), ""
    if choice.kind == "drop":
        return Pins({note.id: Pin(drop=True)}), ""
    spelled = harp.spellings(note.midi)
    pin = Pin(spelled)
    match choice.kind:
        case "string":
            spelled = tuple(p for p in spelled if p.step == choice.value)
            if not spelled:
                return Pins(), f"no {choice.value} string sounds {note.pitch.label}"
            pin = Pin(spelled)
        case "octave":
            assert isinstance(choice.value, int)
            pin = Pin(harp.spellings(note.midi + 12 * choice.value))
        case "pitch":
            pitch = Pitch.parse(str(choice.value))
            pin = Pin((pitch,) if harp.gives(pitch) else ())
        case "hand":
            pin = replace(pin, hand=str(choice.value))
        case "finger":
            pin = replace(pin, finger=int(choice.value))
        case "line":
            return Pins({n.id: Pin(harp.spellings(n.midi), hand=str(choice.value))
                         for n in ground.line(note)}), ""
        case "trill":
            pins = Pins({n.id: Pin(harp.spellings(n.midi), hand=str(choice.value))
                         for n in ground.trill(note)})
            return pins, "" if pins else f"no trill begins with {note.pitch.label} there"
        case "still":
            fifths = ground.score.measures[note.measure].fifths
            pins = still_pins(ground.notes, note.measure, fifths, harp)
            return pins, "" if pins else "the pedals need not move here, or have to"
        case "roll":
            return Pins({n.id: Pin(harp.spellings(n.midi), rolled=bool(choice.value))
                         for n in ground.struck(onset, note.staff)}), ""
    if not pin.pitches:
        return Pins(), f"the harp has no string for {choice.words}"
    return Pins({note.id: pin}), ""
