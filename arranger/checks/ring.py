"""Strings taken again too soon, and what rings where it should not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import HarpString
from arranger.model.ledger import Drop, Respell
from arranger.model.mark_edits import Unsign
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.ring import T60
from arranger.rulebook.damping import load_damping
from arranger.rulebook.rules import rule


def _string(code: str, limit: str) -> int:
    return Pitch.parse(str(rule(code).limits[limit].value)).position


@dataclass(frozen=True, slots=True)
class _Again:
    """A string plucked again: the note before, the note, seconds between."""

    before: Note
    note: Note
    gap: float


def restrike(case: Case) -> Iterator[Diagnostic]:
    """R1: one string again before a finger can be back on it; one finding a bar and severity."""
    player = case.player
    last: dict[int, tuple[float, Note]] = {}
    bars: dict[tuple[int, bool], list[_Again]] = {}
    for attack in case.attacks:
        for note in attack.notes:
            before = last.get(note.pitch.position)
            last[note.pitch.position] = (attack.seconds, note)
            if before is None or before[1].pitch != note.pitch:
                continue
            gap = attack.seconds - before[0]
            hard = gap < player.restrike_error_seconds - 1e-6
            if 0 < gap < _least(case, note) - 1e-6:
                bars.setdefault((note.measure, hard), []).append(_Again(before[1], note, gap))
    for (_, hard), found in bars.items():
        yield _too_soon(case, found, hard)


def _least(case: Case, note: Note) -> float:
    """Seconds before a string may be taken again without a word; wire strings want more."""
    return case.player.again_seconds(wire=HarpString.of(note.pitch) <= case.harp.wire_top)


def _too_soon(case: Case, found: Sequence[_Again], hard: bool) -> Diagnostic:
    worst = min(found, key=lambda f: (f.gap, f.note.onset, f.note.midi))
    least = case.player.restrike_error_seconds if hard else _least(case, worst.note)
    notes = [n for f in found for n in (f.before, f.note)]
    names = list(dict.fromkeys(f.note.pitch.label for f in found))
    told = ", ".join(names[:3]) + (" and others" if len(names) > 3 else "")
    gone = Remedy("leave out the repeated notes" if len(found) > 1 else
                  f"leave out the second {worst.note.pitch.label}", "other-sound",
                  case.judge.prices["drop_doubling"] * len(found),
                  tuple(Drop(f.note.id) for f in found))
    return case.say(
        "R1", "error" if hard else "warning",
        f"{told} {'are' if len(names) > 1 else 'is'} plucked again after {worst.gap:.2f} s: "
        + ("no finger is back on the string so soon" if hard else "the ring is cut short"),
        list(dict.fromkeys(notes)), onset=found[0].note.onset, need=(worst.gap, least),
        remedies=[*_in_turns(case, found), gone])


def _in_turns(case: Case, found: Sequence[_Again]) -> Iterator[Remedy]:
    """The repeated notes on the unison strings, where each has one."""
    edits: list[Respell] = []
    seconds = {f.before.id: False for f in found} | {f.note.id: False for f in found}
    for each in found:
        if seconds[each.before.id]:
            continue  # the note before has moved to the other string already
        others = [p for p in case.harp.spellings(each.note.midi) if p != each.note.pitch]
        if not others:
            return
        seconds[each.note.id] = True
        edits.append(Respell(each.note.id, others[0]))
    first = edits[0].pitch
    yield Remedy(f"take turns on the unison string ({first.label} for {found[0].note.pitch.label})",
                 "same-sound", len(edits) * case.judge.prices["respell"], tuple(edits))


def bass_rings_on(case: Case) -> Iterator[Diagnostic]:
    """R2: a wire string rings into a harmony it does not belong to, in every bar of a row.

    Not where it is damped then or soon after, or where it is to ring.
    """
    seconds, soon = rule("R2").number("ring_seconds"), load_damping().blur_seconds
    top = case.harp.wire_top
    found: dict[int, tuple[Note, Note]] = {}
    bass: tuple[float, Note] | None = None
    for attack in case.attacks:
        low = [n for n in attack.notes if HarpString.of(n.pitch) <= top]
        if bass is not None and low and len(attack.notes) >= 3:
            classes = {n.pitch.pitch_class for n in attack.notes}
            near = {(bass[1].midi + i) % 12 for i in (1, 11)}
            if attack.seconds - bass[0] < seconds and bass[1].pitch.pitch_class not in classes \
                    and low[0].midi != bass[1].midi and near & classes \
                    and "let-ring" not in bass[1].marks \
                    and not case.damped(bass[1], attack.seconds + soon):
                found.setdefault(low[0].measure, (bass[1], low[0]))
        if low:
            bass = (attack.seconds, low[0])
    for old, new in found.values():
        yield case.say("R2", "advice", f"{old.pitch.label} rings on under {new.pitch.label} and "
                       f"its chord: ask for it to be damped", (old, new), onset=new.onset)


def close_and_low(case: Case) -> Iterator[Diagnostic]:
    """R3: a close triad in the bass."""
    below, close = _string("R3", "below"), rule("R3").number("close_steps")
    for attack in case.attacks:
        low = [n for n in attack.notes if n.pitch.position < below]
        if len(low) >= 3 and low[2].pitch.position - low[0].pitch.position <= 2 * close:
            yield case.say("R3", "advice", f"{' '.join(n.pitch.label for n in low)} so low and so "
                           f"close is blurred: open the chord", low)


def low_trill(case: Case) -> Iterator[Diagnostic]:
    """R4: a trill on a low or middle string or under the top of its chord, a tremolo on wire."""
    least, price = _string("R4", "from"), case.judge.prices["drop_inner"]
    for attack in case.attacks:
        for note in attack.notes:
            top = max((n for n in attack.notes if n.chord == note.chord and n.staff == note.staff),
                      key=lambda n: n.midi)
            message = ""
            sign = "trill" if "trill" in note.marks else "tremolo"
            if sign == "trill" and top.midi > note.midi:
                message = (f"the trill of {note.pitch.label} stands over a chord and is read as "
                           f"one on {top.pitch.label}: only the top of a chord can be trilled")
            elif sign == "trill" and note.pitch.position < least:
                message = f"a trill on {note.pitch.label} is a blur on the harp; only high " \
                          f"strings bear it"
            elif sign in note.marks and HarpString.of(note.pitch) <= case.harp.wire_top:
                message = f"a tremolo on {note.pitch.label} buzzes: a finger comes back to a " \
                          f"wire string while it sounds"
            if message:
                yield case.say("R4", "advice", message, (note,), remedies=[Remedy(
                    f"leave out the {sign}", "other-sound", price, (Unsign(note.id, sign),))])


def tremolo_on_one_string(case: Case) -> Iterator[Diagnostic]:
    """R5: a tremolo sign on a single pitch that only one string has."""
    for attack in case.attacks:
        signed = [n for n in attack.notes if "tremolo" in n.marks]
        mine = [n for n in signed if sum(m.chord == n.chord for m in signed) == 1]
        for note in mine:
            if note.pitch.pitch_class in _one_string_classes():
                yield case.say(
                    "R5", "warning", f"a tremolo on {note.pitch.label} has no second string to "
                    f"take turns on: write another note of the harmony beside it", (note,),
                    remedies=[Remedy("leave out the tremolo", "other-sound",
                                     case.judge.prices["drop_inner"],
                                     (Unsign(note.id, "tremolo"),))])


def _one_string_classes() -> frozenset[int]:
    names = rule("R5").limits["without_unison"].value
    assert isinstance(names, tuple)
    return frozenset(Pitch.parse(f"{name}4").pitch_class for name in names)


def long_and_high(case: Case) -> Iterator[Diagnostic]:
    """R6: a high note written longer than its string sounds."""
    share, above = rule("R6").number("times"), _string("R6", "from")
    for note in case.notes:
        if note.pitch.position < above or note.marks & {"tremolo", "trill"}:
            continue
        length = case.seconds(note.end) - case.seconds(note.onset)
        if length > share * float(T60[note.midi]):
            yield case.say("R6", "advice", f"{note.pitch.label} is written {length:.1f} s long; "
                           f"the string is silent after about {float(T60[note.midi]):.1f} s",
                           (note,))


def quick_and_low(case: Case) -> Iterator[Diagnostic]:
    """R8: a quick figure on wire strings."""
    found = rule("R8")
    fast, least = found.number("fast_seconds"), int(found.number("notes"))
    run: list[tuple[float, Note]] = []
    for attack in [*case.attacks, None]:
        low = attack is not None and HarpString.of(attack.notes[-1].pitch) <= case.harp.wire_top
        if attack is not None and low and (not run or attack.seconds - run[-1][0] < fast - 1e-6):
            run.append((attack.seconds, attack.notes[0]))
            continue
        if len(run) >= least and len({n.pitch for _, n in run}) > 2:
            gap = (run[-1][0] - run[0][0]) / (len(run) - 1)
            yield case.say("R8", "advice", f"{len(run)} quick notes on wire strings from "
                           f"{run[0][1].pitch.label} blur into one another",
                           [n for _, n in run], need=(gap, fast))
        run = [(attack.seconds, attack.notes[0])] if attack is not None and low else []


def swell(case: Case) -> Iterator[Diagnostic]:
    """R7: a crescendo with no new note under it."""
    least = rule("R7").number("quarters")
    for start, stop in case.swells():
        if stop - start < least:
            continue
        under = [a for a in case.attacks if start < a.onset < stop]
        held = [n for n in case.notes if n.onset <= start and n.end > start]
        if held and not under and max(n.end for n in held) >= stop:
            yield case.say("R7", "advice", f"{held[-1].pitch.label} cannot grow louder once it is "
                           f"plucked: a crescendo needs notes under it", held, onset=start)


CHECKS = {"R1": restrike, "R2": bass_rings_on, "R3": close_and_low, "R4": low_trill,
          "R5": tremolo_on_one_string, "R6": long_and_high, "R7": swell,
          "R8": quick_and_low}
