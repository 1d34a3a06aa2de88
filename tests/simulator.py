"""Replay of a written harp part, bar by bar as it is played: what a harpist could not do.

The simulator knows only the written MusicXML (through :mod:`tests.score_reading`): staff = hand,
spelling = string, diagrams and pedal words = feet. Codes of feasibility:

====  ============================================================================
B1    a note (grace notes too) whose spelling is not at the pedal position
B1b   no opening diagram, or not all seven letters in it
B1d   a later diagram that disagrees with the pedals as they stand
B2    two pitches on one string struck at once
B2b   one string struck by both hands at once
B3    more than four strings in a hand at once
B4    an unrolled span of more than nine string steps
B5a   two moves of one foot too close in time
B5b   two moves of one foot at one moment
B5n   notation of a move: box and notches disagree, a move to where the pedal stands, left foot
      named before right, several directions at one moment, an unreadable pedal word
B6    outside the compass; a string without disc at two pitches, or not natural without a word
      to tune it
B7    fingers in a hand out of order, used twice, or not 1-4
B8    a string struck again too soon
====  ============================================================================

Apart from these: B5c, a move less than ``lead`` seconds before the letter's next pluck. Warnings
begin with W. W-held: a written note of the letter is still held when its pedal moves;
W-held-early: and the move could have waited for its end with ``lead`` to spare (other moves of the
foot are not looked at).
"""

from __future__ import annotations

import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterable
from fractions import Fraction
from itertools import groupby, pairwise

from tests.score_reading import Source, read_score
from tests.score_values import STEPS, Mark, Note, Score
from tests.simulation_result import (
    APART,
    HARD,
    LEFT_FOOT,
    WARNINGS,
    Finding,
    Limits,
    Move,
    SimulationResult,
    first_passages,
)

_SIGNS = {"♭": -1, "b": -1, "♮": 0, "n": 0, "♯": 1, "#": 1}
_SHOWN = {-1: "♭", 0: "♮", 1: "♯", None: "?"}
_TOKENS = re.compile(r"\s*[A-G][♭♮♯b#n]([\s,]+[A-G][♭♮♯b#n])*[\s,]*")
_TOKEN = re.compile(r"([A-G])([♭♮♯b#n])")
#: An accidental by itself belongs to an ornament or a figured bass, not to a pedal.
_PEDALISH = re.compile(r"(?=.*[A-G])[\sA-G♭♮♯→>\-–,/]*[♭♮♯][\sA-G♭♮♯→>\-–,/]*")
_EPS = 1e-6


def simulate(source: Source | Score, part: str = "Harp", *, tempo: float | None = None,
             **limits: object) -> SimulationResult:
    """Replay ``part`` of a written score.

    Parameters
    ----------
    source : path, bytes or Score
    part : name or id of the harp part
    tempo : opening tempo in crotchets a minute; the tempo map is scaled by it
    **limits : fields of :class:`Limits`
    """
    score = source if isinstance(source, Score) else read_score(source)
    if tempo is not None:
        score = score.scaled(Fraction(tempo).limit_denominator(1000))
    return _Replay(score, score.part_id(part), Limits(**limits)).run()  # type: ignore[arg-type]


def place(name: str) -> int:
    """Diatonic place of a string name such as C1."""
    return 7 * int(name[1:]) + STEPS.index(name[0])


def hand(note: Note) -> str:
    """R for the upper staff, L for the lower."""
    return "R" if note.staff == 1 else "L"


def pedal_tokens(text: str) -> list[tuple[str, int]] | None:
    """Letters and positions of a pedal word, None if the text is none."""
    if not _TOKENS.fullmatch(text):
        return None
    return [(step, _SIGNS[sign]) for step, sign in _TOKEN.findall(text)]


class _Replay:
    """One replay; findings are kept once per written place."""

    def __init__(self, score: Score, part: str, limits: Limits) -> None:
        self.score, self.limits = score, limits
        self.notes = [n for n in score.notes if n.part == part]
        self.struck = [n for n in self.notes if not n.grace]
        self.marks = [m for m in score.marks if m.part == part]
        self.fixed = {place(name) for name in limits.fixed}
        self.found: dict[tuple[str, Fraction, str], Finding] = {}
        self.changes: defaultdict[tuple[Fraction, str, bool], list[tuple[int | None, int]]]
        self.changes = defaultdict(list)
        self.moves: list[Move] = []
        self.plucks: list[tuple[float, Note]] = []
        self.state: dict[str, int | None] = dict.fromkeys(STEPS)
        self.opening: dict[str, int] = {}

    def run(self) -> SimulationResult:
        self._opening()
        self._compass()
        for _, group in groupby(self.struck, key=lambda n: n.onset):
            self._slice(list(group))
        self._directions()
        self._play()
        self._feet()
        self._written_moves()
        self._restrikes()
        found = tuple(sorted(self.found.values(), key=lambda f: (f.onset, f.code, f.turn)))
        counts = Counter(f.code for f in found)
        return SimulationResult(found, self.opening, tuple(self.moves), len(self.struck),
                                {c: counts[c] for c in (*HARD, *APART, *WARNINGS)})

    def _add(self, code: str, onset: Fraction, message: str, turn: int = 1) -> None:
        bar = self.score.bar_at(onset)
        self.found.setdefault((code, onset, message),
                              Finding(code, bar.number, bar.index, onset, message, turn))

    def _opening(self) -> None:
        first = min((n.onset for n in self.notes), default=Fraction(0))
        heads = [m for m in self.marks if m.kind == "pedals" and m.onset <= first]
        if heads:
            self.opening = dict(heads[0].setting)
        missing = [s for s in "DCBEFGA" if s not in self.opening]
        if not heads:
            self._add("B1b", Fraction(0), "no diagram before the first note")
        elif missing:
            self._add("B1b", heads[0].onset, f"diagram without {' '.join(missing)}")
        self.state.update(self.opening)

    def _compass(self) -> None:
        low, high = place(self.limits.lowest), place(self.limits.highest)
        tuned = self._tuned()
        alters: defaultdict[int, dict[int, Note]] = defaultdict(dict)
        for note in self.notes:
            if not low <= note.position <= high:
                self._add("B6", note.onset, f"{note.name} is not on the harp")
            elif note.position in self.fixed:
                alters[note.position].setdefault(note.alter, note)
        for seen in alters.values():
            first, *more = seen.values()
            for other in more:
                self._add("B6", other.onset, f"{other.name} after {first.name}: no disc")
            for alter, note in seen.items():
                if alter and (note.step, alter) not in tuned:
                    self._add("B6", note.onset, f"{note.name}: no word to tune it")

    def _tuned(self) -> set[tuple[str, int]]:
        """Pitches which words in the first bar ask to be tuned by hand."""
        head = " ".join(m.text for m in self.marks
                        if m.kind == "words" and self.score.bar_at(m.onset).index == 0
                        and re.search(r"\btun(e|ed|ing)\b", m.text, re.IGNORECASE))
        words = {" flat": -1, " sharp": 1, **_SIGNS}
        return {(step, words[sign.lower()]) for step, sign in
                re.findall(r"([A-G])\d?([♭♮♯b#]|\sflat|\ssharp)", head)}

    def _slice(self, notes: list[Note]) -> None:
        """Rules for what is struck at one onset."""
        onset = notes[0].onset
        pitches: defaultdict[int, set[int]] = defaultdict(set)
        hands: defaultdict[int, set[str]] = defaultdict(set)
        for note in notes:
            pitches[note.position].add(note.alter)
            hands[note.position].add(hand(note))
        for position, alters in pitches.items():
            string = f"{STEPS[position % 7]}{position // 7}"
            if len(alters) > 1:
                signs = " and ".join(_SHOWN.get(a, str(a)) for a in sorted(alters))
                self._add("B2", onset, f"string {string} at {signs}")
            elif len(hands[position]) > 1:
                self._add("B2b", onset, f"string {string} in both hands")
        for side in "RL":
            self._hand(onset, side, [n for n in notes if hand(n) == side])

    def _hand(self, onset: Fraction, side: str, notes: list[Note]) -> None:
        if not notes:
            return
        strings = sorted({n.position for n in notes})
        rolled = len(strings) > 1 and all(n.arpeggiate for n in notes)
        if len(strings) > self.limits.strings:
            self._add("B3", onset, f"{side}: {len(strings)} strings")
        if strings[-1] - strings[0] > self.limits.span and not rolled:
            self._add("B4", onset, f"{side}: span of {strings[-1] - strings[0]} steps")
        self._fingers(onset, side, notes, rolled)
        if side == "R" and strings[0] < place(self.limits.right_lowest):
            self._add("W-rh-low", onset, "right hand in the deep bass")
        if side == "L" and strings[-1] > place(self.limits.left_highest):
            self._add("W-lh-high", onset, "left hand at the top")

    def _fingers(self, onset: Fraction, side: str, notes: list[Note], rolled: bool) -> None:
        given: dict[int, int] = {}
        for note in notes:
            for finger in note.fingers[:1]:
                if not 1 <= finger <= 4:
                    self._add("B7", onset, f"{side}: finger {finger}")
                elif given.setdefault(note.position, finger) != finger:
                    self._add("B7", onset, f"{side}: two fingers on one string")
        fingers = [given[p] for p in sorted(given)]
        again = len(set(fingers)) < len(fingers)
        if again and not rolled:
            self._add("B7", onset, f"{side}: a finger twice, {fingers} from below")
        elif not again and fingers != sorted(fingers, reverse=True):
            self._add("B7", onset, f"{side}: fingers {fingers} from below")

    def _directions(self) -> None:
        """Pedal words must be readable, one direction a moment, the right foot first."""
        by_onset: defaultdict[Fraction, dict[int, list[str]]] = defaultdict(dict)
        for mark in self.marks:
            if mark.kind != "words":
                continue
            tokens = pedal_tokens(mark.text)
            if tokens:
                letters = by_onset[mark.onset].setdefault(mark.direction, [])
                letters.extend(letter for letter, _ in tokens)
            elif _PEDALISH.fullmatch(mark.text):
                self._add("B5n", mark.onset, f"cannot read {mark.text!r}")
        for onset, directions in by_onset.items():
            if len(directions) > 1:
                self._add("B5n", onset, f"{len(directions)} directions at one moment")
            for letters in directions.values():
                feet = ["L" if letter in LEFT_FOOT else "R" for letter in letters]
                if feet != sorted(feet, reverse=True):
                    self._add("B5n", onset, f"left foot first: {' '.join(letters)}")

    def _play(self) -> None:
        """Play the bars in order; pedals are set before the notes of their moment."""
        marks, notes = defaultdict(list), defaultdict(list)
        for mark in self.marks:
            marks[self.score.bar_at(mark.onset).index].append(mark)
        for note in self.notes:
            notes[note.bar_index].append(note)
        clock, turns = 0.0, Counter[int]()
        for index in self.score.order:
            bar = self.score.bars[index]
            turns[index] += 1
            begin = self.score.seconds(bar.onset)
            moments = sorted({m.onset for m in marks[index]} | {n.onset for n in notes[index]})
            for onset in moments:
                at = clock + self.score.seconds(onset) - begin
                here = (m for m in marks[index] if m.onset == onset)
                self._set_pedals(here, at, turns[index])
                for note in notes[index]:
                    if note.onset == onset:
                        self._pluck(note, at, turns[index])
            clock += self.score.seconds(bar.onset + bar.duration) - begin

    def _set_pedals(self, marks: Iterable[Mark], at: float, turn: int) -> None:
        for mark in marks:
            if mark.kind == "pedals":
                self._diagram(mark, turn)
                continue
            for letter, after in pedal_tokens(mark.text) or ():
                before = self.state[letter]
                boxed = mark.enclosure == "rectangle"
                self.changes[mark.onset, letter, boxed].append((before, after))
                if before != after:
                    self.moves.append(Move(mark.onset, at, letter, before, after, turn))
                self.state[letter] = after

    def _diagram(self, mark: Mark, turn: int) -> None:
        for letter, alter in mark.setting:
            stands = self.state.get(letter)
            if stands is not None and stands != alter:
                self._add("B1d", mark.onset, f"diagram says {letter}{_SHOWN.get(alter, alter)}, "
                          f"the pedal stands at {_SHOWN[stands]}", turn)
            self.state[letter] = alter

    def _pluck(self, note: Note, at: float, turn: int) -> None:
        self.plucks.append((at, note))
        if note.position in self.fixed:
            return
        stands = self.state[note.step]
        if stands is None and abs(note.alter) <= 1:
            self.state[note.step] = note.alter
        elif stands != note.alter:
            self._add("B1", note.onset, f"{note.name} with the pedal at {_SHOWN[stands]}", turn)

    def _feet(self) -> None:
        for foot in "RL":
            mine = sorted((m for m in self.moves if m.foot == foot), key=lambda m: m.seconds)
            for one, two in pairwise(mine):
                gap = two.seconds - one.seconds
                pair = f"{one.letter}, {two.letter}"
                if one.onset == two.onset and one.turn == two.turn:
                    self._add("B5b", two.onset, f"one foot moves {pair} together", two.turn)
                elif gap < self.limits.foot_gap - _EPS:
                    self._add("B5a", two.onset, f"one foot moves {pair} within {gap:.3f} s",
                              two.turn)
                elif gap < self.limits.foot_sustained - _EPS:
                    self._add("W-foot", two.onset, f"one foot moves {pair} within {gap:.3f} s",
                              two.turn)
        self._leads()

    def _leads(self) -> None:
        """A move wants ``lead`` seconds before the next pluck of its letter (B5c)."""
        uses: defaultdict[str, list[float]] = defaultdict(list)
        for at, note in self.plucks:
            if note.position not in self.fixed:
                uses[note.step].append(at)
        for move in self.moves:
            gap = min((t - move.seconds for t in uses[move.letter] if t >= move.seconds - _EPS),
                      default=None)
            if gap is not None and gap < self.limits.lead - _EPS:
                self._add("B5c", move.onset, f"{move.letter} moves {max(gap, 0):.3f} s before "
                          "its string is plucked", move.turn)
        self._held()

    def _held(self) -> None:
        by_letter: defaultdict[str, list[Note]] = defaultdict(list)
        for note in self.struck:
            if note.position not in self.fixed:
                by_letter[note.step].append(note)
        for move in first_passages(self.moves):
            mine = by_letter[move.letter]
            held = [n for n in mine
                    if n.alter == move.before and n.onset < move.onset < n.end]
            if not held:
                continue
            self._add("W-held", move.onset, f"{held[0].name} is held while {move.letter} moves")
            until = max(n.end for n in held)
            use = min((n.onset for n in mine if n.onset >= move.onset), default=None)
            spare = None if use is None else self.score.seconds(use) - self.score.seconds(until)
            if spare is None or spare >= self.limits.lead - _EPS:
                self._add("W-held-early", move.onset, f"{move.letter} could wait for the end of "
                          f"{held[0].name}")

    def _written_moves(self) -> None:
        """A written move must move its pedal on some passage, boxed for two notches alone."""
        for (onset, letter, boxed), changes in self.changes.items():
            known = [(b, a) for b, a in changes if b is not None]
            real = [abs(a - b) for b, a in known if a != b]
            if known and len(known) == len(changes) and not real:
                self._add("B5n", onset, f"{letter} stands there already")
            for turn, notches in enumerate(real, 1):
                if (notches == 2) != boxed:
                    self._add("B5n" if turn == 1 else "W-box", onset,
                              f"{letter} moves {notches} notch(es), box: {boxed}", turn)

    def _restrikes(self) -> None:
        last: dict[int, float] = {}
        for at, note in self.plucks:
            if note.grace:
                continue
            gap = at - last.get(note.position, -1e9)
            if _EPS < gap < self.limits.restrike - _EPS:
                self._add("B8", note.onset, f"{note.name} again after {gap:.3f} s")
            elif _EPS < gap < self.limits.restrike_slow - _EPS:
                self._add("W-restrike", note.onset, f"{note.name} again after {gap:.3f} s")
            last[note.position] = at


def main(argv: list[str]) -> int:
    """Print the findings of each file named."""
    for path in argv:
        result = simulate(path)
        for finding in result.findings:
            print(finding)
        shown = ", ".join(f"{c} {n}" for c, n in result.counts.items() if n)
        print(f"{path}: {result.plucks} notes, {len(result.written_moves)} moves; "
              f"{result.violations} violations ({shown or 'nothing'})")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
