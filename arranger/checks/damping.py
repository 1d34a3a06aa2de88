"""Damping signs: a hand must be free for them, and they must be needed."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic
from arranger.model.pitch import Pitch
from arranger.rulebook.rules import rule


def no_free_hand(case: Case) -> Iterator[Diagnostic]:
    """M1: all strings are to be damped while both hands are wanted at once."""
    need = rule("M1").number("seconds")
    for sign in case.marks.damps:
        if not sign.all:
            continue
        at = case.seconds(sign.onset)
        later = [a for a in case.attacks if a.onset > sign.onset]
        have = later[0].seconds - at if later else need
        if have < need - 1e-6 and len(later[0].notes) > 1:
            yield case.say("M1", "warning", f"all strings are to be damped {have:.2f} s before the "
                           f"next chord: the hands cannot cover the harp so fast",
                           onset=sign.onset, need=(have, need))


def not_needed(case: Case) -> Iterator[Diagnostic]:
    """M2: strings are damped that are silent by themselves."""
    above = Pitch.parse(str(rule("M2").limits["above"].value)).position
    for sign in case.marks.damps:
        before = [a for a in case.attacks if a.onset < sign.onset][-4:]
        if before and all(n.pitch.position > above for a in before for n in a.notes):
            yield case.say("M2", "advice", "strings so high need no damping: they are silent at "
                           "once", onset=sign.onset)


CHECKS = {"M1": no_free_hand, "M2": not_needed}
