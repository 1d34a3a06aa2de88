"""What a choice entails beyond itself, bar by bar, in a harpist's words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import pedal_word
from arranger.model.pins import Pins
from arranger.model.score import bar_name
from arranger.report.wording import beat_words

_HAND = {"R": "right", "L": "left"}
_SIGN = {-1: "♭", 0: "", 1: "♯"}
#: Notes of a bar on other strings that are told one by one.
_ONE_BY_ONE = 2
#: A pedal move: when, which pedal, and the position after it.
_Move = tuple[Fraction, str, int]


def knock_on(was: Draft, now: Draft, asked: Pins) -> tuple[str, ...]:
    """What changes between two drafts besides what was asked for, a line for every bar."""
    told: dict[int, list[str]] = defaultdict(list)
    for bar, words in _notes(was, now, asked):
        told[bar].append(words)
    lines = {bar: [_in_short(words)] for bar, words in told.items()}
    for bar, words in _pedals(was, now, {(p.onset, p.pedal, p.alter) for p in asked.pedals}):
        lines.setdefault(bar, []).append(words)
    numbers = {m.index: m.number for m in was.source.measures}
    return tuple(f"{bar_name(numbers[bar])}: {'; '.join(lines[bar])}" for bar in sorted(lines))


def _notes(was: Draft, now: Draft, asked: Pins) -> Iterator[tuple[int, str]]:
    old, new = ({n.id: n for n in d.notes} for d in (was, now))
    for note in was.source.part_notes(was.part):
        words = _changed(old.get(note.id), new.get(note.id))
        if words and note.id not in asked.notes:
            yield note.measure, f"{(old.get(note.id) or note).pitch.label} {words}"


def _changed(old: HarpNote | None, new: HarpNote | None) -> str:
    if old is None or new is None:
        return "" if old is new else "is left out" if new is None else "is kept"
    words = []
    if old.pitch.midi != new.pitch.midi:
        words.append(f"becomes {new.pitch.label}")
    elif old.pitch != new.pitch:
        words.append(f"on the {new.pitch.step}{_SIGN[new.pitch.alter]} string")
    if old.hand != new.hand:
        words.append(f"in the {_HAND[new.hand]} hand")
    if old.rolled != new.rolled:
        words.append("rolled" if new.rolled else "not rolled")
    return ", ".join(words)


def _in_short(words: Sequence[str]) -> str:
    """Changes of a bar one by one, or counted where many notes only change their strings."""
    respelled = [w for w in words if " on the " in w and "," not in w]
    if len(respelled) <= _ONE_BY_ONE:
        return "; ".join(words)
    rest = [w for w in words if w not in respelled]
    return "; ".join([f"{len(respelled)} notes on other strings", *rest])


def _pedals(was: Draft, now: Draft, asked: set[_Move]) -> Iterator[tuple[int, str]]:
    """Moves that come at another moment of their bar, in place of others, more or fewer."""
    old, new = ({(m.onset, m.pedal, m.after) for m in d.plan.moves} for d in (was, now))
    source, left, made = was.source, old - new, new - old
    for one in sorted(asked & made):  # told already, wherever it stood before
        made.discard(one)
        same = [(abs(g[0] - one[0]), g) for g in left if g[1:] == one[1:]]
        left.discard(min(same, default=(0, one))[1])
    bars: dict[int, tuple[list[_Move], list[_Move]]] = defaultdict(lambda: ([], []))
    for side, moves in enumerate((left, made)):
        for move in sorted(moves):
            bars[source.measure_at(move[0]).index][side].append(move)
    for bar, (gone, come) in bars.items():
        for one in list(come):
            before = next((g for g in gone if g[1:] == one[1:]), None)
            if before:
                gone.remove(before)
                come.remove(one)
                yield bar, (f"pedal {pedal_word(*one[1:])} moves on beat "
                            f"{beat_words(source.locate(one[0]).beat)}, not "
                            f"{beat_words(source.locate(before[0]).beat)}")
        less, more = _listed(gone), _listed(come)
        if less and more:
            yield bar, f"{more} in place of {less}"
        elif less or more:
            yield bar, f"no {less}" if less else f"also {more}"


def _listed(moves: Sequence[_Move]) -> str:
    names = [pedal_word(pedal, after) for _, pedal, after in moves]
    if not names:
        return ""
    most = ", ".join(names[:-1])
    return (f"pedal {names[0]}" if len(names) == 1 else f"pedals {most} and {names[-1]}")
