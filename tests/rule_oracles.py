"""Slow, obvious judges of the examples in ``rules/``: one function a rule, True = broken."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations, pairwise

from arranger.checks.chords import spelled_clashes
from arranger.model.harp import LEFT_FOOT, Harp, HarpString, PedalSetting
from arranger.model.pitch import Pitch
from arranger.rulebook.examples import Attack, Example, Pluck
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.rules import Rule
from tests.lever_rule_judges import (
    JUDGED_AS_MARKED,
    beyond_levers,
    cuts_ring,
    no_lever_in_time,
)

PLAYER = load_player("average")
HARP: Harp = load_harp("pedal-47")
Judge = Callable[[Rule, Example], bool]


def gap(example: Example) -> float:
    assert example.seconds is not None, f"{example.says}: needs seconds"
    return example.seconds * (1.5 if "fermata" in example.signs else 1)


def hands(example: Example) -> Iterator[list[Pluck]]:
    """What one hand plucks at one attack, from the lowest string up."""
    for attack in example.attacks:
        for hand in "RL":
            taken = [p for p in attack if p.hand == hand]
            if taken:
                yield sorted(taken, key=lambda p: p.pitch.position)


def span(taken: list[Pluck]) -> int:
    return taken[-1].pitch.position - taken[0].pitch.position


def changes(example: Example) -> Iterator[tuple[float, Pitch, Pitch]]:
    """Each letter wanted in a new position: time since its last use, old pitch, new pitch."""
    last: dict[str, tuple[int, Pitch]] = {}
    if example.setting:
        last = {s: (-1000, Pitch(s, example.setting.alter(s), 4)) for s in "CDEFGAB"}
    for at, attack in enumerate(example.attacks):
        for pluck in attack:
            before = last.get(pluck.pitch.step)
            if before and before[1].alter != pluck.pitch.alter:
                yield (at - before[0]) * gap(example), before[1], pluck.pitch
            last[pluck.pitch.step] = at, pluck.pitch


def foot_time(old: Pitch, new: Pitch) -> float:
    two = abs(old.alter - new.alter) == 2
    return PLAYER.foot_two_notch_seconds if two else PLAYER.foot_move_seconds


def no_pedal_in_time(rule: Rule, example: Example) -> bool:
    return (any(spelled_clashes(pitches(a)) for a in example.attacks)
            or any(t < foot_time(old, new) + PLAYER.pedal_lead_seconds
                   for t, old, new in changes(example)))


def pitches(attack: Attack) -> list[Pitch]:
    return [p.pitch for p in attack]


def ringing(rule: Rule, example: Example) -> bool:
    def decibels(pitch: Pitch, age: float) -> float:
        hertz = 440 * 2 ** ((pitch.midi - 69) / 12)
        t60 = min(rule.number("longest_seconds"), rule.number("middle_seconds")
                  * (rule.number("middle_hertz") / hertz) ** rule.number("exponent"))
        return -60 * age / t60
    found = [decibels(old, age) for age, old, _ in changes(example)]
    assert all(d > rule.number("bad_decibels") or d < rule.number("audible_decibels")
               for d in found), f"{example.says}: neither clearly bad nor clearly good"
    return any(d > rule.number("bad_decibels") for d in found)


def feet(rule: Rule, example: Example) -> bool:
    work = {True: 0.0, False: 0.0}
    for _, old, new in changes(example):
        work[old.step in LEFT_FOOT] += foot_time(old, new)
    return max(work.values()) > gap(example)


def chromatic(rule: Rule, example: Example) -> bool:
    tune = [a[0].pitch.midi for a in example.attacks]
    steps = "".join("s" if abs(b - a) == 1 else "." for a, b in pairwise(tune))
    return "s" * int(rule.number("semitones")) in steps and gap(example) < rule.number(
        "slow_seconds")


def one_string_two_hands(rule: Rule, example: Example) -> bool:
    return any(a.hand != b.hand and a.pitch.position == b.pitch.position
               for attack in example.attacks for a, b in combinations(attack, 2))


def neighbours(rule: Rule, example: Example) -> bool:
    return any(low.hand != high.hand and high.pitch.position - low.pitch.position == 1
               and low.finger == 1 != high.finger
               for attack in example.attacks
               for low, high in pairwise(sorted(attack, key=lambda p: p.pitch.position)))


def repeats(example: Example) -> Iterator[tuple[float, Pluck, Pluck]]:
    last: dict[int, tuple[int, Pluck]] = {}
    for at, attack in enumerate(example.attacks):
        for pluck in attack:
            before = last.get(pluck.pitch.position)
            if before:
                yield (at - before[0]) * gap(example), before[1], pluck
            last[pluck.pitch.position] = at, pluck


def string_just_left(rule: Rule, example: Example) -> bool:
    return any(a.hand != b.hand and t < PLAYER.collision_seconds for t, a, b in repeats(example))


def out_of_reach(rule: Rule, example: Example) -> bool:
    def inside(pluck: Pluck) -> bool:
        string = HarpString.of(pluck.pitch)
        if pluck.hand == "R":
            return PLAYER.right_hand_lowest <= string <= PLAYER.right_hand_highest
        return PLAYER.left_hand_lowest <= string <= PLAYER.left_hand_highest
    return any(not inside(p) for attack in example.attacks for p in attack)


def crossed(rule: Rule, example: Example) -> bool:
    return any(a.finger <= b.finger for taken in hands(example) for a, b in pairwise(taken)
               if a.finger and b.finger)


def bad_roll(rule: Rule, example: Example) -> bool:
    longest = PLAYER.roll_share_of_value * gap(example)
    return any(span(t) > PLAYER.rolled_span_steps or len(t) * PLAYER.roll_note_seconds > longest
               for t in hands(example))


def long_run(rule: Rule, example: Example) -> bool:
    row = "".join(a[0].hand for a in example.attacks)
    longer = PLAYER.one_hand_run_notes + 1
    return gap(example) < rule.number("moderate_seconds") and (
        "R" * longer in row or "L" * longer in row)


def wide_below(rule: Rule, example: Example) -> bool:
    gaps = [[b.pitch.position - a.pitch.position for a, b in pairwise(t)] for t in hands(example)]
    return any(len(g) > 1 and g[0] - g[-1] >= rule.number("excess_steps") for g in gaps)


def by_the_thumb(rule: Rule, example: Example) -> bool:
    return any(span(t) >= rule.number("tenth_steps") and len(t) > 2
               and span(t[-2:]) <= rule.number("next_steps") for t in hands(example))


def no_time_to_place(rule: Rule, example: Example) -> bool:
    for a, b in pairwise(example.attacks):
        for hand in "RL":
            old, new = ([p.pitch.position for p in x if p.hand == hand] for x in (a, b))
            if old and new:
                way = abs(min(new) + max(new) - min(old) - max(old)) / 2
                if way > rule.number("strings_per_second") * (
                        gap(example) - PLAYER.placing_lead_seconds):
                    return True
    return False


def placed_anew(rule: Rule, example: Example) -> bool:
    """Two grips of a hand, one after the other, that no four fingers hold together."""
    for hand in "RL":
        grips = [{p.pitch.position for p in a if p.hand == hand} for a in example.attacks]
        chords = [g for g in grips if len(g) > 1]
        if gap(example) < PLAYER.placing_lead_seconds and any(
                len(a | b) > PLAYER.fingers_per_hand
                or max(a) - min(a) > PLAYER.finger_pair_2_3_steps for a, b in pairwise(chords)):
            return True
    return False


def stretched(rule: Rule, example: Example) -> bool:
    most = {1: PLAYER.finger_pair_1_2_steps, 2: PLAYER.finger_pair_2_3_steps,
            3: PLAYER.finger_pair_3_4_steps}
    return any(span([a, b]) > most[b.finger] for t in hands(example) for a, b in pairwise(t)
               if a.finger and b.finger and a.finger == b.finger + 1)


def restrike(rule: Rule, example: Example) -> bool:
    def least(pluck: Pluck) -> float:
        wire = HarpString.of(pluck.pitch) <= HARP.wire_top
        return PLAYER.restrike_warning_seconds * (PLAYER.wire_restrike_factor if wire else 1)
    return any(t < least(b) for t, _, b in repeats(example))


def bass_rings_on(rule: Rule, example: Example) -> bool:
    return any(HarpString.of(p.pitch) <= HARP.wire_top
               and p.pitch.pitch_class not in {q.pitch.pitch_class for q in after}
               for before, after in pairwise(example.attacks) for p in before)


def named(rule: Rule, limit: str) -> int:
    return Pitch.parse(str(rule.limits[limit].value)).position


def close_and_low(rule: Rule, example: Example) -> bool:
    return any(b.pitch.position < named(rule, "below")
               and span([a, b]) <= rule.number("close_steps")
               for attack in example.attacks
               for a, b in pairwise(sorted(attack, key=lambda p: p.pitch.position)))


def low_trill(rule: Rule, example: Example) -> bool:
    def borne(pluck: Pluck) -> bool:
        if "trill" in example.signs:
            return pluck.pitch.position >= named(rule, "from")
        return HarpString.of(pluck.pitch) > HARP.wire_top
    return bool(example.signs & {"trill", "tremolo"}) and not all(
        borne(p) for a in example.attacks for p in a)


def no_discs(rule: Rule, example: Example) -> bool:
    tuned: dict[HarpString, set[int]] = {}
    for pluck in (p for a in example.attacks for p in a):
        tuned.setdefault(HarpString.of(pluck.pitch), set()).add(pluck.pitch.alter)
    return any(len(alters) > 1 for string, alters in tuned.items() if string in HARP.fixed)


def top_forced(rule: Rule, example: Example) -> bool:
    loud = rule.limits["loud"].value
    assert isinstance(loud, tuple)
    return bool(example.signs & set(loud)) and any(
        p.pitch.position > named(rule, "above") for a in example.attacks for p in a)


def misspelled(rule: Rule, example: Example) -> bool:
    setting: PedalSetting | None = example.setting
    assert setting is not None
    return any(p.pitch.alter != setting.alter(p.pitch.step) for a in example.attacks for p in a)


def piano_signs(rule: Rule, example: Example) -> bool:
    signs = rule.limits["signs"].value
    assert isinstance(signs, tuple)
    return bool(example.signs & set(signs))


def midis(attacks: tuple[Attack, ...]) -> list[int]:
    return [p.pitch.midi for a in attacks for p in a]


def harmony_lost(rule: Rule, example: Example) -> bool:
    return {m % 12 for m in midis(example.source)} != {m % 12 for m in midis(example.attacks)}


def foreign_note(rule: Rule, example: Example) -> bool:
    return len(midis(example.source)) != len(midis(example.attacks)) or any(
        new != old and new % 12 not in example.harmony
        for old, new in zip(midis(example.source), midis(example.attacks), strict=True))


def twice_on_one_string(rule: Rule, example: Example) -> bool:
    return any(len({p.pitch for p in a}) < len(a) for a in example.attacks)


def tune_or_bass_lost(rule: Rule, example: Example) -> bool:
    before, after = midis(example.source), midis(example.attacks)
    return (min(before), max(before)) != (min(after), max(after))


def off_the_symbol(rule: Rule, example: Example) -> bool:
    return any(p.pitch.midi % 12 not in example.harmony or p.pitch.midi >= q.pitch.midi
               for a in example.attacks for p in a for q in a if (p.hand, q.hand) == ("L", "R"))


JUDGES: dict[str, Judge] = {
    "P1": no_pedal_in_time, "P2": ringing, "P3": feet,
    "P4": lambda _, e: any(abs(a.alter - b.alter) == 2 for _, a, b in changes(e)),
    "P5": chromatic, "S2": one_string_two_hands, "S3": neighbours, "S4": string_just_left,
    "S1": lambda _, e: any(spelled_clashes(pitches(a)) for a in e.attacks),
    "H1": lambda _, e: any(len(t) > PLAYER.fingers_per_hand for t in hands(e)),
    "H2": lambda _, e: any(span(t) > PLAYER.span_steps and not e.rolled for t in hands(e)),
    "H3": out_of_reach, "H4": crossed, "H5": bad_roll, "H6": long_run, "H7": wide_below,
    "H8": by_the_thumb, "H9": no_time_to_place, "H10": stretched, "H12": placed_anew,
    "R1": restrike,
    "R2": bass_rings_on, "R3": close_and_low, "R4": low_trill,
    "C1": lambda _, e: any(not HARP.has(HarpString.of(p.pitch)) for a in e.attacks for p in a),
    "C2": no_discs, "C3": top_forced, "N1": misspelled, "N2": piano_signs,
    "N3": lambda _, e: "harp-pedals" not in e.signs,
    "T1": harmony_lost, "T2": foreign_note, "T3": twice_on_one_string, "T4": tune_or_bass_lost,
    "T5": off_the_symbol,
    "K1": no_lever_in_time, "K2": beyond_levers, "K3": cuts_ring, **JUDGED_AS_MARKED}
