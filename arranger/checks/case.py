"""A harp part under examination: what every family of checks is given, and how it speaks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby

from arranger.model.diagnostic import Diagnostic, Remedy, Severity
from arranger.model.harp import Harp, HarpString, spellings
from arranger.model.ledger import Drop, OctaveShift, Respell
from arranger.model.marks import PartMarks
from arranger.model.score import Note, NoteId, Score, Slower, TempoMap
from arranger.plan.hand_over_hand import shared
from arranger.plan.part_hands import Attack, Grip, grips, unshared
from arranger.plan.recall import Recall
from arranger.plan.slices import clock
from arranger.plan.timing import Use
from arranger.rulebook.players import Player
from arranger.rulebook.rules import rule
from arranger.rulebook.score_words import gives_way

RANK: Mapping[str, int] = {"advice": 0, "warning": 1, "error": 2}
HAND = {"L": "left hand", "R": "right hand"}
OTHER = {"L": "R", "R": "L"}
#: Place of the note on the line of a clef: 7 times the octave plus the step.
_CLEFS = {"G": 4 * 7 + 4, "F": 3 * 7 + 3, "C": 4 * 7}
_SLIDES = frozenset({"glissando", "slide"})
#: Strings from which on a written-out run may be glided over (assumption: an octave).
_GLIDE = 8
_KINDS: tuple[Severity, ...] = ("advice", "warning", "error")


@dataclass(frozen=True, slots=True)
class Judge:
    """By what a part is judged: harp, player, prices of remedies."""

    harp: Harp
    player: Player
    prices: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Slide:
    """A glissando from a note to another; ``stop`` is None where it has no written end."""

    start: Note
    stop: Note | None


@dataclass(frozen=True, slots=True)
class Case:
    """A part made ready for the checks.

    ``notes`` are those of the part, by onset and pitch, without its ``graces``; ``grips`` go with
    ``attacks``. ``entry`` is the setting known when the case begins, by letter.
    ``changes_marked``: the part marks its changes (at least half of them); else it only shows
    settings, and the player marks what comes between.
    ``lever_entry``: of a case that begins later than the part, how the levers stand by the marks.
    ``fingers`` are written fingers, ``staves`` all staves a note (with its doubles) stands on.
    ``recall``: what the hand planner has found of this part, for the part with an edit; ``loose``:
    onsets of its lines that both hands share, whatever their staff, once that is known.
    """

    score: Score
    part: str
    judge: Judge
    notes: tuple[Note, ...]
    attacks: tuple[Attack, ...]
    grips: tuple[Grip, ...]
    marks: PartMarks
    fingers: Mapping[NoteId, int] = field(default_factory=dict)
    staves: Mapping[NoteId, tuple[int, ...]] = field(default_factory=dict)
    entry: Mapping[str, int] = field(default_factory=dict)
    changes_marked: bool = False
    times: Mapping[Fraction, float] = field(default_factory=dict)
    graces: tuple[Note, ...] = ()
    lever_entry: Mapping[HarpString, int] | None = None
    recall: Recall = field(default_factory=Recall, compare=False)
    loose: frozenset[Fraction] | None = None

    @property
    def player(self) -> Player:
        """The player it is judged for."""
        return self.judge.player

    @property
    def harp(self) -> Harp:
        """The harp it is judged for."""
        return self.judge.harp

    def known_tempo(self, onset: Fraction) -> bool:
        """Tell whether the score says how fast the music goes here."""
        return self._tempo(onset)[1] != "assumed"

    def bpm(self, onset: Fraction) -> float:
        """Quarter notes a minute at an onset."""
        return self._tempo(onset)[0]

    def _tempo(self, onset: Fraction) -> tuple[float, str]:
        marks = [m for m in self.score.tempo.marks if m.onset <= onset] or \
            [self.score.tempo.marks[0]]
        return float(marks[-1].bpm), marks[-1].origin

    def seconds(self, onset: Fraction) -> float:
        """Seconds from the start of the score."""
        known = self.times.get(onset)
        return clock(self.score.tempo, [onset])[0] if known is None else known

    def all_fingers(self) -> dict[NoteId, int]:
        """Fingers as written, and of the other notes those the hand planner finds."""
        found = {n: f for grip in self.grips for n, f in grip.fingers.items()}
        return found | dict(self.fingers)

    def pedalled(self) -> list[Note]:
        """Notes that want a pedal in a position, by onset, at one onset the grace notes first.

        Strings without discs want none; a grace note that the notes after it at the same moment
        contradict is left out (rule P1 tells of it).
        """
        mine = [n for n in (*self.graces, *self.notes) if abs(n.pitch.alter) <= 1
                and HarpString.of(n.pitch) not in self.harp.fixed]
        if self.graces:
            wanted: dict[tuple[int, Fraction, str], set[int]] = {}
            for note in mine:
                wanted.setdefault((note.measure, note.onset, note.pitch.step),
                                  set()).add(note.pitch.alter)
            mine = [n for n in mine if not n.grace
                    or len(wanted[n.measure, n.onset, n.pitch.step]) == 1]
            mine.sort(key=lambda n: (float(n.onset), not n.grace))
        return mine

    def uses(self) -> list[Use]:
        """Every letter wanted by a note, by onset."""
        return [Use(n.onset, n.pitch.step, n.pitch.alter, n.end, n.midi) for n in self.pedalled()]

    def say(self, code: str, severity: Severity, message: str, notes: Sequence[Note] = (), *,
            onset: Fraction | None = None, need: tuple[float, float] | None = None,
            remedies: Iterable[Remedy] = ()) -> Diagnostic:
        """Make a finding, no worse than its rule, one step less where the tempo is assumed.

        Parameters
        ----------
        need : seconds there are and seconds wanted, of a finding that depends on the tempo.
        """
        found = rule(code)
        at = notes[0].onset if onset is None else onset
        worst = min(RANK[severity], RANK[found.severity])
        if found.timed and not self.known_tempo(at):
            worst = max(worst - 1, 0)
        limit = None if need is None else self._limit(at, *need)
        if limit is not None and self.known_tempo(at):
            message += (f"; {'it goes' if severity == 'error' else 'comfortable'} up to "
                        f"crotchet = {limit}")
        elif limit is not None:
            message += f" (from crotchet = {limit + 1} on)"
        here = next((n for n in notes if n.onset == at), notes[0] if notes else None)
        where = self.score.locate(at, None if here is None else here.measure)
        return Diagnostic(code, found.name, _KINDS[worst], message, where,
                          tuple(n.id for n in notes), self.part, tuple(remedies),
                          0 if here is None else here.staff, limit)

    def _limit(self, onset: Fraction, have: float, want: float) -> int | None:
        """Return up to which tempo, in crotchets a minute, there is time; None if it is no help."""
        if have <= 0 or want <= 0:
            return None
        limit = int(self.bpm(onset) * have / want + 1e-6)
        return limit if 20 <= limit <= 300 else None

    def dynamic(self, onset: Fraction) -> str:
        """Last dynamic sign up to an onset, "" before any."""
        signs = [d.sign for d in self.marks.dynamics if d.onset <= onset]
        return signs[-1] if signs else ""

    def ledger_lines(self, note: Note) -> int:
        """Ledger lines of a note, negative below its staff; 0 on it or where no clef is known."""
        clefs = [c for c in self.marks.clefs if c.staff == note.staff and c.onset <= note.onset]
        if not clefs or clefs[-1].sign not in _CLEFS:
            return 0
        clef = clefs[-1]
        bottom = _CLEFS[clef.sign] + 7 * clef.octaves - 2 * (clef.line - 1)
        above = note.pitch.position - (bottom + 8)
        below = bottom - note.pitch.position
        return above // 2 if above > 0 else -(below // 2) if below > 0 else 0

    def slides(self) -> tuple[Slide, ...]:
        """Glissandi of the part: the signed notes of a staff, two by two.

        A sign whose next signed note lies more than a bar away has no end.
        """
        found: list[Slide] = []
        for staff in (1, 2):
            signed = [n for n in self.notes if n.staff == staff and n.marks & _SLIDES]
            while signed:
                start = signed.pop(0)
                near = signed and signed[0].measure - start.measure <= 1
                found.append(Slide(start, signed.pop(0) if near else None))
        return tuple(sorted(found, key=lambda s: s.start.onset))

    def glided(self) -> frozenset[NoteId]:
        """Notes of glissandi that are written out: runs by step that words or a sign call so."""
        said = {*self.marks.glides, *(n.onset for n in self.notes if n.marks & _SLIDES)}
        if not said:
            return frozenset()
        lines = [[n for n in self.notes if n.staff == staff] for staff in (1, 2)]
        return frozenset(n.id for line in lines for run in _by_step(line)
                         if any(run[0].onset <= onset <= run[-1].onset for onset in said)
                         for n in run)

    def damped(self, note: Note, until: float) -> bool:
        """Tell whether a sign to damp a note stands after its pluck, up to ``until`` (seconds)."""
        return any(note.onset < sign.onset and self.seconds(sign.onset) <= until + 1e-6
                   and note.pitch.step in (sign.letters or note.pitch.step)
                   for sign in self.marks.damps)

    def swells(self) -> tuple[tuple[Fraction, Fraction], ...]:
        """Start and stop of every crescendo hairpin."""
        return tuple((h.onset, h.stop) for h in self.marks.hairpins if h.kind == "crescendo")

    # remedies, to be proved by whoever offers them

    def respelled(self, note: Note) -> Iterator[Remedy]:
        """The same sound on each other string."""
        for pitch in spellings(note.midi):
            if pitch != note.pitch and self.harp.has(HarpString.of(pitch)):
                yield Remedy(f"write {pitch.label} for {note.pitch.label}", "same-sound",
                             self.judge.prices["respell"], (Respell(note.id, pitch),))

    def dropped(self, note: Note, among: Sequence[Note]) -> Remedy:
        """Leave the note out; its price is what it is to the chord."""
        return Remedy(f"leave out {note.pitch.label}", "other-sound", self.worth(note, among),
                      (Drop(note.id),))

    def shifted(self, note: Note, among: Sequence[Note]) -> Iterator[Remedy]:
        """The note an octave higher or lower."""
        for shift, word in ((-1, "lower"), (1, "higher")):
            pitch = note.pitch.shifted(shift)
            if self.harp.has(HarpString.of(pitch)) and pitch.midi not in {n.midi for n in among}:
                yield Remedy(f"write {note.pitch.label} an octave {word}", "other-sound",
                             self.judge.prices["octave"], (OctaveShift(note.id, pitch),))

    def worth(self, note: Note, among: Sequence[Note]) -> int:
        """Price of leaving a note out of its chord."""
        prices = self.judge.prices
        others = [n for n in among if n.id != note.id]
        if others and note.midi > max(n.midi for n in others):
            return prices["drop_tune"]
        if others and note.midi < min(n.midi for n in others):
            return prices["drop_bass"]
        if any(n.pitch.pitch_class == note.pitch.pitch_class for n in others):
            return prices["drop_doubling"]
        return prices["drop_inner"]


def _by_step(line: Sequence[Note]) -> Iterator[Sequence[Note]]:
    """Stretches of a staff that go from string to string in one direction, one note at a time."""
    run: list[Note] = []
    for note in line:
        way = note.pitch.position - run[-1].pitch.position if run else 0
        on = run and abs(way) == 1 and note.onset > run[-1].onset and (
            len(run) == 1 or way == run[-1].pitch.position - run[-2].pitch.position)
        if not on:
            if len(run) >= _GLIDE:
                yield run
            run = []
        run.append(note)
    if len(run) >= _GLIDE:
        yield run


def open_case(score: Score, part: str, judge: Judge, marks: PartMarks,
              fingers: Mapping[NoteId, int], staves: Mapping[NoteId, tuple[int, ...]]) -> Case:
    """Make a part ready for the checks, with time where fermatas and slowing music give it."""
    score = replace(score, tempo=as_played(score))
    case = with_notes(Case(score, part, judge, (), (), (), marks, fingers, staves),
                      score.part_notes(part))
    if judge.harp.mechanism == "lever":
        first = case.attacks[0].onset if case.attacks else Fraction(0)
        words = [m.onset for m in marks.pedals if m.text] if marks.levers else []
        return replace(case, changes_marked=any(
            onset > first for onset in (*words, *(m.onset for m in marks.levers))))
    wanted, written = changes_wanted(case), changes_written(marks)
    return replace(case, changes_marked=written > 0 and 2 * written >= wanted)


def as_played(score: Score) -> TempoMap:
    """The tempo with what a judge grants where it gives way (`rules/tempo-words.toml`)."""
    held: list[Slower] = []
    for note in score.notes:
        if "fermata" in note.marks and note.end > note.onset and (
                not held or note.onset >= held[-1].end):
            held.append(Slower(note.onset, note.end, gives_way().fermata))
    return replace(score.tempo, slower=(*score.slowing, *held))


def changes_wanted(case: Case) -> int:
    """Number of pedal changes the notes ask for as they are spelled."""
    last: dict[str, int] = {}
    count = 0
    for use in case.uses():
        count += last.get(use.letter, use.alter) != use.alter
        last[use.letter] = use.alter
    return count


def changes_written(marks: PartMarks) -> int:
    """Number of pedal changes that are marked, singly or by a new setting."""
    stands: dict[str, int] = {}
    count = 0
    for mark in marks.pedals:
        count += sum(not mark.full or stands.get(p, a) != a for p, a in mark.alters.items())
        stands.update(mark.alters)
    return count


def with_notes(case: Case, notes: Iterable[Note], marks: PartMarks | None = None,
               entry: Mapping[str, int] | None = None, hands: bool = True) -> Case:
    """Return the case with other notes (and marks), its attacks and grips worked out anew.

    ``hands``: False leaves out which hand takes what; what no hand can hold is known all the same.
    """
    everything = sorted(notes, key=lambda n: (float(n.onset), n.midi, n.id))
    ordered = tuple(n for n in everything if not n.grace)
    groups = [(onset, tuple(sorted(group, key=lambda n: n.pitch.position)))
              for onset, group in groupby(ordered, key=lambda n: n.onset)]
    times = clock(case.score.tempo, [onset for onset, _ in groups])
    attacks = tuple(Attack(onset, time, group)
                    for (onset, group), time in zip(groups, times, strict=True))
    judged, loose = (case.player, case.judge.prices, case.fingers, case.recall), case.loose
    if not hands:
        shares = unshared(attacks, case.player)
    elif loose is None:
        shares, loose = shared(attacks, *judged)
    else:
        shares = grips(attacks, *judged, {at for at, attack in enumerate(attacks)
                                          if attack.onset in loose})
    return Case(case.score, case.part, case.judge, ordered, attacks, shares,
                marks or case.marks, case.fingers,
                case.staves, case.entry if entry is None else entry, case.changes_marked,
                {a.onset: a.seconds for a in attacks}, tuple(n for n in everything if n.grace),
                case.lever_entry, case.recall, loose)


def hands_of(case: Case) -> dict[NoteId, str]:
    """Which hand takes each note; of a note no hand holds, by its staff."""
    found = {n.id: "R" if n.staff == 1 else "L" for n in (*case.notes, *case.graces)}
    return found | {n.id: hand for grip in case.grips for hand in "LR" for n in grip.hand(hand)}


def setting_at(case: Case, onset: Fraction, before: bool = False) -> dict[str, int]:
    """Letters whose pedal is known from the marks up to ``onset``, with where they stand.

    ``before``: without the marks that stand at the onset itself.
    """
    known = dict(case.entry)
    for mark in case.marks.pedals:
        if mark.onset > onset or (before and mark.onset == onset):
            break
        known.update(mark.alters)
    return known


def with_settings(case: Case) -> Iterator[tuple[Note, Mapping[str, int]]]:
    """Every note in order, with the letters whose pedal is known from the marks at its onset."""
    known = dict(case.entry)
    marks = iter(case.marks.pedals)
    mark = next(marks, None)
    for note in case.notes:
        while mark is not None and mark.onset <= note.onset:
            known.update(mark.alters)
            mark = next(marks, None)
        yield note, known
