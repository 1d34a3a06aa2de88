"""What no hand can hold, and what lies badly in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import combinations, pairwise

from arranger.checks.case import HAND, OTHER, Case
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import HarpString
from arranger.model.ledger import Drop, GiveToHand, OctaveShift, Roll
from arranger.model.mark_edits import Unsign
from arranger.model.score import Note
from arranger.plan.hand_faults import Anew, Leap, leaps, long_runs, placed_anew
from arranger.plan.part_hands import Attack, Grip, fault
from arranger.rulebook.rules import rule

_FINGERS = {2: "two", 3: "three", 4: "four"}
_MOST_DROPPED = 3  # notes a remedy leaves out of one chord at most


def too_many(case: Case) -> Iterator[Diagnostic]:
    """H1: more strings than the fingers of two hands."""
    for attack in _broken(case, "H1"):
        count = len({n.pitch.position for n in attack.notes})
        told = (f"{count} strings at once, two hands have {2 * case.player.fingers_per_hand} "
                f"fingers" if count > 2 * case.player.fingers_per_hand else
                f"{count} strings lie so that one hand would need five fingers")
        yield case.say("H1", "error", told, attack.notes, remedies=_thinner(case, attack))


def too_wide(case: Case) -> Iterator[Diagnostic]:
    """H2: a chord that no sharing between the hands brings within their spans."""
    for attack, grip in zip(case.attacks, case.grips, strict=True):
        if grip.fault == "H2":
            told = (f"{_names(attack.notes)}: no sharing keeps both hands within "
                    f"{_FINGERS.get(case.player.fingers_per_hand, 'their')} fingers and "
                    f"{_interval(case.player.span_steps)}")
            yield case.say("H2", "warning" if grip.if_rolled else "error",
                           told + (", unless it is rolled" if grip.if_rolled else ""),
                           attack.notes,
                           remedies=[*_rolled(case, attack), *_thinner(case, attack)])


def out_of_reach(case: Case) -> Iterator[Diagnostic]:
    """H3: a chord that asks a hand to reach beyond its strings."""
    for attack in _broken(case, "H3"):
        yield case.say("H3", "error", f"{_names(attack.notes)}: one of the hands would have to "
                       f"reach beyond {case.player.right_hand_lowest} (right hand down) or "
                       f"{case.player.left_hand_highest} (left hand up)", attack.notes,
                       remedies=_thinner(case, attack))


def _broken(case: Case, code: str) -> Iterator[Attack]:
    return (a for a, g in zip(case.attacks, case.grips, strict=True) if g.fault == code
            and (code != "H3" or all(case.harp.has(HarpString.of(n.pitch)) for n in a.notes)))


def _names(notes: Sequence[Note]) -> str:
    return " ".join(n.pitch.label for n in notes)


def _interval(steps: int) -> str:
    names = {6: "a seventh", 7: "an octave", 8: "a ninth", 9: "a tenth", 10: "an eleventh"}
    return names.get(steps, f"{steps + 1} strings")


def _thinner(case: Case, attack: Attack) -> Iterator[Remedy]:
    """The least notes left out, or one moved an octave, so that the hands can hold the rest."""
    for count in range(1, _MOST_DROPPED + 1):
        found = []
        for gone in combinations(attack.notes, count):
            if not fault([n for n in attack.notes if n not in gone], case.player):
                price = sum(case.worth(n, attack.notes) for n in gone)
                found.append((price, gone))
        for price, gone in sorted(found, key=lambda f: f[0])[:3]:
            yield Remedy(f"leave out {_names(gone).replace(' ', ', ')}", "other-sound", price,
                         tuple(Drop(n.id) for n in gone))
        if found:
            break
    low, high = attack.notes[0].midi, attack.notes[-1].midi
    for note in attack.notes[1:-1]:
        for remedy in case.shifted(note, attack.notes):
            (edit,) = remedy.edits
            if isinstance(edit, OctaveShift) and low < edit.pitch.midi < high:
                yield remedy


def _rolled(case: Case, attack: Attack) -> Iterator[Remedy]:
    if not any("staccato" in n.marks for n in attack.notes):
        yield Remedy("roll the chord", "same-sound", case.judge.prices["roll"],
                     tuple(Roll(n.id) for n in attack.notes))


def crossed(case: Case) -> Iterator[Diagnostic]:
    """H4: written fingers of one hand that cross."""
    for _, hand, notes in _hands(case):
        fingers = [(n, case.fingers[n.id]) for n in notes if n.id in case.fingers]
        for (low, f), (high, g) in pairwise(fingers):
            if f <= g and low.chord == high.chord:
                yield case.say("H4", "error", f"finger {f} on {low.pitch.label} and {g} on "
                               f"{high.pitch.label} cross in the {HAND[hand]}: the thumb (1) "
                               f"takes the highest string", (low, high), remedies=[
                                   Remedy("leave the fingers to the player", "same-sound", 0,
                                          tuple(Unsign(n.id, "fingering") for n in notes))])


def _hands(case: Case) -> Iterator[tuple[Attack, str, tuple[Note, ...]]]:
    for attack, grip in zip(case.attacks, case.grips, strict=True):
        for hand in "LR":
            notes = grip.hand(hand)
            if notes and not grip.fault:
                yield attack, hand, notes


def hurried_roll(case: Case) -> Iterator[Diagnostic]:
    """H5: a roll that takes more than its share of the chord's value; both hands roll at once."""
    player = case.player
    told: set[Fraction] = set()
    for attack, hand, notes in _hands(case):
        if len(notes) < 3 or not all("arpeggiate" in n.marks for n in notes) or \
                attack.onset in told:
            continue
        value = case.seconds(max(n.end for n in notes)) - attack.seconds
        need = len(notes) * player.roll_note_seconds / player.roll_share_of_value
        if value < need - 1e-6:
            told.add(attack.onset)
            plain = tuple(Unsign(n.id, "arpeggiate") for n in attack.notes)
            yield case.say("H5", "warning", f"no time to roll {len(notes)} notes of the "
                           f"{HAND[hand]} within {value:.2f} s", notes, need=(value, need),
                           remedies=[Remedy("play the chord plain", "same-sound",
                                            case.judge.prices["roll"], plain)])


def long_run(case: Case) -> Iterator[Diagnostic]:
    """H6: a quick run in one direction that stays in one hand."""
    limit = rule("H6").number("moderate_seconds")
    glided = case.glided()
    for run in long_runs(case.attacks, case.grips, case.player):
        if any(n.id in glided for n in run.notes):
            continue
        yield case.say("H6", "advice", f"{len(run.notes)} quick notes in one direction lie in the "
                       f"{HAND[run.hand]}: share them between the hands", run.notes,
                       need=(run.gap, limit))


def wide_below(case: Case) -> Iterator[Diagnostic]:
    """H7: the widest gap at the bottom of a hand."""
    excess = rule("H7").number("excess_steps")
    for _, hand, notes in _hands(case):
        gaps = [b.pitch.position - a.pitch.position for a, b in pairwise(notes)]
        if len(notes) == case.player.fingers_per_hand and gaps[0] - gaps[-1] >= excess + 1 and \
                gaps[0] == max(gaps):
            yield case.say("H7", "advice", f"the {HAND[hand]} opens widest at the bottom "
                           f"({_names(notes)}): put the large interval on top", notes)


def step_by_thumb(case: Case) -> Iterator[Diagnostic]:
    """H8: a tenth with the second finger on the string next to the thumb."""
    found = rule("H8")
    for _, hand, notes in _hands(case):
        if len(notes) > 2 and _span(notes) >= found.number("tenth_steps") and \
                _span(notes[-2:]) <= found.number("next_steps"):
            yield case.say("H8", "advice", f"in the tenth of the {HAND[hand]} "
                           f"{notes[-2].pitch.label} lies next to the thumb", notes)


def _span(notes: Sequence[Note]) -> int:
    return notes[-1].pitch.position - notes[0].pitch.position


def no_time_to_place(case: Case) -> Iterator[Diagnostic]:
    """H9: a hand leaps farther than the time allows."""
    for leap in leaps(case.attacks, case.grips, case.player):
        if leap.late:
            yield case.say("H9", "warning", f"the {HAND[leap.hand]} leaps from {_names(leap.old)} "
                           f"to {_names(leap.new)} in {leap.have:.2f} s, without time to place",
                           leap.new, need=(leap.have, leap.need),
                           remedies=_to_the_other(case, leap))


def _to_the_other(case: Case, leap: Leap) -> Iterator[Remedy]:
    """Either end of a leap for the other hand, and every note there like it in the bar."""
    other = OTHER[leap.hand]
    for end in (leap.new, leap.old):
        places = {n.pitch.position for n in end}
        alike = [n for n in case.notes if n.measure == leap.new[0].measure
                 and n.staff == end[0].staff and n.pitch.position in places]
        for notes in (end, alike):
            names = _names(sorted({n.pitch.position: n for n in notes}.values(),
                                  key=lambda n: n.pitch.position))
            yield Remedy(f"give {names.replace(' ', ', ')} to the {HAND[other]}", "same-sound",
                         case.judge.prices["other_hand"] * len(notes),
                         tuple(GiveToHand(n.id, other) for n in notes))


def hand_set_again(case: Case) -> Iterator[Diagnostic]:
    """H12: octaves or chords faster than a hand can be placed; one finding a bar."""
    lead = case.player.placing_lead_seconds
    never = rule("H12").number("never_share") * lead
    bars: dict[int, list[Anew]] = {}
    for anew in placed_anew(case.attacks, case.grips, case.player):
        if 0 < anew.have < lead - 1e-6:
            bars.setdefault(anew.new[0].measure, []).append(anew)
    for _, some in sorted(bars.items()):
        found = sorted(some, key=lambda a: a.at)
        worst = min(found, key=lambda a: (a.have, a.at))
        hands = {a.hand for a in found}
        who = f"the {HAND[worst.hand]}" if len(hands) == 1 else "each hand"
        times = max(sum(a.hand == h for a in found) for h in hands)
        more = "" if times == 1 else f", {'twice' if times == 2 else f'{times} times'} in the bar"
        notes = list(dict.fromkeys(n for a in found for n in (*a.old, *a.new)))
        yield case.say("H12", "error" if worst.have < never - 1e-6 else "warning",
                       f"{who} would be placed anew {worst.have:.2f} s after the last grip, as on "
                       f"{_names(worst.new)} after {_names(worst.old)}{more}", notes,
                       onset=found[0].new[0].onset, need=(worst.have, lead),
                       remedies=_one_each(case, found))


def _one_each(case: Case, found: Sequence[Anew]) -> Iterator[Remedy]:
    """Of pairs of strings leave the outer line to the hand, the inner to the other or to none."""
    grips = list(dict.fromkeys((a.hand, g) for a in found for g in (a.old, a.new)))
    if any(len(g) != 2 for _, g in grips):
        return
    inner = [(hand, g[0] if hand == "R" else g[-1], g) for hand, g in grips]
    hands = sorted({hand for hand, _ in grips}, reverse=True)
    which = " and the ".join(f"{'lower' if h == 'R' else 'upper'} notes of the {HAND[h]}"
                             for h in hands)
    if len(hands) == 1:
        yield Remedy(f"give the {which} to the {HAND[OTHER[hands[0]]]}", "same-sound",
                     case.judge.prices["other_hand"] * len(inner),
                     tuple(GiveToHand(n.id, OTHER[hand]) for hand, n, _ in inner))
    yield Remedy(f"leave out the {which}", "other-sound",
                 sum(case.worth(n, g) for _, n, g in inner),
                 tuple(Drop(n.id) for _, n, _ in inner))


def stretched(case: Case) -> Iterator[Diagnostic]:
    """H10: written fingers that neighbour one another, too far apart."""
    player = case.player
    most = dict(enumerate(player.finger_pairs, start=1))
    for _, hand, notes in _hands(case):
        if any("arpeggiate" in n.marks for n in notes):
            continue
        for low, high in pairwise(notes):
            f, g = case.fingers.get(low.id, 0), case.fingers.get(high.id, 0)
            if f == g + 1 and g in most and _span((low, high)) > most[g]:
                yield case.say("H10", "warning", f"fingers {f} and {g} of the {HAND[hand]} are "
                               f"{_span((low, high)) + 1} strings apart", (low, high))


def octaves_fast(case: Case) -> Iterator[Diagnostic]:
    """H11: both hands sweep in octaves through three octaves, fast."""
    found = rule("H11")
    limit, strings = found.number("fast_seconds"), found.number("sweep_steps")
    run: list[tuple[Attack, Grip]] = []
    glided = case.glided()
    for attack, grip in [*zip(case.attacks, case.grips, strict=True), (None, None)]:
        if attack is not None and grip is not None and _octave(grip) and (
                not run or attack.seconds - run[-1][0].seconds < limit - 1e-6):
            run.append((attack, grip))
            continue
        if run and not any(n.id in glided for _, g in run for n in (*g.left, *g.right)):
            tops = [g.right[0].pitch.position for _, g in run]
            if max(tops) - min(tops) >= strings:
                gap = (run[-1][0].seconds - run[0][0].seconds) / max(1, len(run) - 1)
                yield case.say("H11", "warning", "both hands sweep in octaves through "
                               f"{(max(tops) - min(tops)) // 7} octaves: impracticable so fast",
                               [run[0][1].left[0], run[0][1].right[0]], need=(gap, limit))
        run = [(attack, grip)] if attack is not None and grip is not None and _octave(grip) else []


def _octave(grip: Grip) -> bool:
    return (len(grip.left) == len(grip.right) == 1
            and grip.right[0].pitch.position - grip.left[0].pitch.position == 7)


CHECKS = {"H1": too_many, "H2": too_wide, "H3": out_of_reach, "H4": crossed, "H5": hurried_roll,
          "H6": long_run, "H7": wide_below, "H8": step_by_thumb, "H9": no_time_to_place,
          "H10": stretched, "H11": octaves_fast,
          "H12": hand_set_again}
