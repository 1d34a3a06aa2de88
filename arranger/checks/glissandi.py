"""Rolls and glissandi: what they need to be read at once."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.checks.case import Case, setting_at
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import PEDALS
from arranger.model.mark_edits import InsertMark, RemoveMark, Unsign
from arranger.plan.settings import key_setting
from arranger.plan.timing import windows


def without_setting(case: Case) -> Iterator[Diagnostic]:
    """L1: a glissando whose strings no mark has set."""
    for slide in case.slides():
        known = setting_at(case, slide.start.onset)
        open_letters = [p for p in PEDALS if p not in known]
        if len(open_letters) < len(PEDALS) // 2:
            continue
        setting, _ = windows([u for u in case.uses() if u.onset >= slide.start.onset - 4],
                             key_setting(case.score.measures[slide.start.measure].fifths))
        edits = tuple(InsertMark(slide.start.onset, p, setting.alter(p)) for p in PEDALS)
        yield case.say("L1", "warning", "a glissando sounds all seven letters, but their setting "
                       "is not shown", (slide.start,),
                       remedies=[Remedy(f"show {setting}, if it is meant", "same-sound",
                                        case.judge.prices["notch"], edits)])


def without_end(case: Case) -> Iterator[Diagnostic]:
    """L2: a glissando that begins and does not say where it goes."""
    for slide in case.slides():
        if slide.stop is None:
            yield case.say("L2", "warning", f"the glissando from {slide.start.pitch.label} has no "
                           f"last note: say where it ends and when", (slide.start,),
                           remedies=[Remedy("take the glissando away", "other-sound",
                                            case.judge.prices["drop_tune"],
                                            (Unsign(slide.start.id, "glissando"),))])


def pedal_within(case: Case) -> Iterator[Diagnostic]:
    """L3: a pedal marked to move while the hand glides."""
    for slide in case.slides():
        if slide.stop is None:
            continue
        for mark in case.marks.pedals:
            if slide.start.onset < mark.onset < slide.stop.onset:
                edits = tuple(RemoveMark(mark.onset, p) for p in mark.alters)
                yield case.say("L3", "warning", "a pedal is marked to move while the hand glides "
                               "over the strings: set it before", (slide.start, slide.stop),
                               onset=mark.onset,
                               remedies=[Remedy("take the mark away", "same-sound",
                                                case.judge.prices["notch"], edits)])


def rolled_staccato(case: Case) -> Iterator[Diagnostic]:
    """L4: a chord both rolled and staccato; one finding a bar."""
    told: set[int] = set()
    for attack in case.attacks:
        mine = [n for n in attack.notes if {"arpeggiate", "staccato"} <= n.marks]
        if len(mine) > 1 and mine[0].measure not in told:
            told.add(mine[0].measure)
            same = [n for n in case.notes if n.measure == mine[0].measure
                    and {"arpeggiate", "staccato"} <= n.marks]
            yield case.say("L4", "advice", "a rolled chord cannot be staccato: its first notes are "
                           "stopped while the last are still to come", same,
                           remedies=[Remedy(f"leave out the {sign}", "same-sound",
                                            case.judge.prices["roll"],
                                            tuple(Unsign(n.id, mark) for n in same))
                                     for sign, mark in (("dots", "staccato"),
                                                        ("roll", "arpeggiate"))])


CHECKS = {"L1": without_setting, "L2": without_end, "L3": pedal_within, "L4": rolled_staccato}
