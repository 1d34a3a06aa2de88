"""Parts for the tests of the checks: from the examples of the rules, from files, from plans."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from arranger.checks.case import Case, Judge, open_case
from arranger.io.document import Document
from arranger.io.musicxml_read import read
from arranger.io.part_choice import choose_parts
from arranger.io.part_fingers import written_fingers, written_staves
from arranger.io.part_marks import read_marks
from arranger.io.source import open_source
from arranger.model.draft import PedalPlan
from arranger.model.harp import PEDALS
from arranger.model.marks import (
    Clef,
    DampSign,
    Dynamic,
    Hairpin,
    PartMarks,
    PedalMark,
    PianoSign,
)
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from arranger.rulebook.examples import Example
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.rulebook.rules import rule

JUDGE = Judge(load_harp("pedal-47"), load_player("average"), load_prices())
DATA = Path(__file__).parents[1].parent / "shared" / "data" / "harp"
FILES = sorted(DATA.glob("*.mxl"))
_NOTE_SIGNS = {"tremolo", "trill", "harmonic", "staccato", "glissando", "let-ring", "fermata"}
_LETTER = re.compile(r"[A-G][#b]?")


def part_of(path: Path, bpm: Fraction | None = None) -> Case:
    """The harp part of a file; ``bpm`` states its opening tempo as a number."""
    root = open_source(path)
    (part,) = choose_parts(root, harp_first=True)
    document = read(root, path.name)
    if bpm is not None:
        document = replace(document, score=replace(
            document.score, tempo=document.score.tempo.scaled(bpm)))
    return case_of(document, part)


def case_of(document: Document, part: str) -> Case:
    return open_case(document.score, part, JUDGE, read_marks(document.root, part, document.score),
                     written_fingers(document, part), written_staves(document, part))


def plan_marks(case: Case, plan: PedalPlan) -> PartMarks:
    """The marks of a plan as a part would carry them: the setting first, then each moment."""
    start = case.notes[0].onset
    moments: dict[Fraction, dict[str, int]] = {}
    for move in plan.moves:
        moments.setdefault(move.onset, {})[move.pedal] = move.after
    opening = mark(case.score, start, dict(zip(PEDALS, plan.opening.alters, strict=True)))
    return replace(NO_MARKS, pedals=(opening, *(mark(case.score, o, a)
                                                for o, a in sorted(moments.items()))))


def mark(score: Score, onset: Fraction, alters: Mapping[str, int]) -> PedalMark:
    return PedalMark(onset=onset, measure=score.measure_at(onset).index, alters=dict(alters),
                     full=len(alters) == len(PEDALS), text="")


NO_MARKS = PartMarks()


def as_case(example: Example) -> Case:
    """The example as a part: an attack a quarter, right hand above, its signs where they stand."""
    count = len(example.attacks)
    seconds = example.seconds or 1.0
    notes: list[Note] = []
    fingers: dict[str, int] = {}
    staves: dict[str, tuple[int, ...]] = {}
    shared = frozenset(example.signs & _NOTE_SIGNS) | (
        {"arpeggiate"} if example.rolled else frozenset())
    for i, attack in enumerate(example.attacks):
        for pluck in attack:
            ident = f"n{len(notes)}"
            twin = [n for n in notes if n.onset == i and n.pitch == pluck.pitch]
            if twin:  # as the reader joins them
                staves[twin[0].id] = (1, 2)
                continue
            notes.append(Note(ident, "P1", 0, Fraction(i), Fraction(example.hold), pluck.pitch,
                              1 if pluck.hand == "R" else 2, "1" if pluck.hand == "R" else "5",
                              marks=shared, chord=2 * i + (pluck.hand == "L")))
            if pluck.finger:
                fingers[ident] = pluck.finger
    assumed = "no-tempo" in example.signs
    tempo = TempoMap((TempoMark(Fraction(0), Fraction(60 / seconds).limit_denominator(1000),
                                "assumed" if assumed else "number"),))
    bar = Measure(0, "1", Fraction(0), Fraction(max(count, 1)), max(count, 1), 4, example.key)
    score = Score("", (Part("P1", "Harp", 2),), (bar,),
                  tuple(sorted(notes, key=lambda n: (n.onset, n.midi))), tempo, (0,))
    return open_case(score, "P1", JUDGE, _marks(example, score), fingers, staves)


def _marks(example: Example, score: Score) -> PartMarks:
    pedals: list[PedalMark] = []
    extra: list[tuple[Fraction, str, Fraction]] = []
    if example.setting is not None:
        pedals.append(mark(score, Fraction(0), dict(zip(PEDALS, example.setting.alters,
                                                        strict=True))))
    if "pedal-letters" in example.signs:
        pedals.append(mark(score, Fraction(1, 2), {"F": 1}))
    if "harp-pedals" in example.signs:
        pedals.insert(0, mark(score, Fraction(0), dict.fromkeys(PEDALS, 0)))
    for text in example.marks:
        place, *words = text.split()
        onset = Fraction(place) - 1
        if all(_LETTER.fullmatch(w) for w in words if w != "|"):
            alters = {w[0]: {"": 0, "#": 1, "b": -1}[w[1:]] for w in words if w != "|"}
            pedals.append(mark(score, onset, alters))
        else:
            stop = Fraction(words[1]) - 1 if len(words) > 1 else onset
            extra.append((onset, words[0], stop))
    return with_signs(replace(NO_MARKS, pedals=tuple(sorted(pedals, key=lambda m: m.onset))),
                      score, example.signs, extra)


def with_signs(marks: PartMarks, score: Score, signs: Iterable[str],
               extra: Iterable[tuple[Fraction, str, Fraction]]) -> PartMarks:
    """Add dynamics, hairpins, damping, piano signs and clefs to the marks."""
    signs, extra = set(signs), list(extra)
    loud = rule("C3").limits["loud"].value
    piano = rule("N2").limits["signs"].value
    assert isinstance(loud, tuple)
    assert isinstance(piano, tuple)
    return replace(
        marks, dynamics=tuple(Dynamic(Fraction(0), s) for s in signs & {*loud, "pp"}),
        hairpins=tuple(Hairpin(o, stop, w) for o, w, stop in extra if w == "crescendo"),
        damps=tuple(DampSign(o, w == "damp-all") for o, w, _ in extra if w.startswith("damp")),
        piano=tuple(PianoSign(Fraction(0), 0, s) for s in signs & set(piano)),
        clefs=(Clef(Fraction(0), 1, "G", 2), Clef(Fraction(0), 2, "F", 4)))
