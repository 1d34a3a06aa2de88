"""Bars that are equal in the source are put to the planner in the way most of them are played."""

from __future__ import annotations

from dataclasses import replace

from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.model.draft import Draft
from arranger.model.pitch import Pitch
from arranger.passes import pipeline
from arranger.passes.alike import alike
from arranger.passes.start import start
from tests.test_examples_passages import CROTCHET, line
from tests.test_scenes import SETTINGS


def draft(names: str) -> Draft:
    made = as_harp_part(line(names, CROTCHET), ("P1",))
    return start(read(made.root).score, made.part_id)


def test_the_odd_bar_follows_the_others() -> None:
    """The third of three equal bars had another string and hand."""
    plain = draft("C4 E4 Bb4 G4 " * 3 + "C4 E4 G4 C5")
    odd = replace(plain, notes=tuple(
        replace(n, pitch=Pitch.parse("A#4"), hand="L")
        if n.source.measure == 2 and n.pitch == Pitch.parse("Bb4") else n for n in plain.notes))
    assert odd != plain
    told = alike(odd)
    assert told.notes == plain.notes
    assert [e.reason for e in told.ledger.entries] == [
        "as in bar 1, beat 1, where the bar is the same"]


def test_bars_that_differ_in_one_note_are_let_be() -> None:
    mixed = draft("C4 E4 Bb4 G4 C4 E4 Bb4 A4")
    odd = replace(mixed, notes=tuple(
        replace(n, hand="L") if n.source.measure == 1 else n for n in mixed.notes))
    assert alike(odd) == odd


def test_what_the_plan_takes_back_is_looked_at_once_more_as_it_stands(monkeypatch) -> None:
    """Else a draft could pass for settled that, read back from its file, is planned otherwise."""
    looked = []
    once = pipeline._once

    def spied(score, part, *more):
        looked.append(score)
        return once(score, part, *more)

    def odd(made: Draft) -> Draft:
        """The lowest string in the right hand, which cannot reach it."""
        first, *others = made.notes
        return replace(made, notes=(replace(first, hand="R"), *others))
    plain = draft("C1 E4 G4 C5")
    monkeypatch.setattr(pipeline, "_once", spied)
    monkeypatch.setattr(pipeline, "alike", odd)
    made = pipeline.arrange(plain.source, plain.part, SETTINGS)
    assert made.settled
    assert made.draft.notes[0].hand == "L"
    assert {n.pitch.name: n.staff for n in looked[-1].part_notes(plain.part)}["C1"] == 2
