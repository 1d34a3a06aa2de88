"""What a thinned draft keeps: cadences, basses on strong beats, long notes before short ones."""

from __future__ import annotations

from fractions import Fraction

import pytest
from lxml import etree

from arranger.io.musicxml_write import write
from arranger.model.draft import Draft
from arranger.passes.ease import arrange_within
from arranger.passes.settings import Settings
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, chord, low, note, piano, score_of
from tests.writing import document_of, draft_of

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
#: A cadence as songs have it: a dotted step over the dominant, then the chord of the end.
DOTTED = ("".join(note(n, 4) for n in ("F#5", "G5", "F#5")) + note("E5", 3) + note("D5", 1)
          + backup(16) + "".join(chord(c, 4, voice=5, staff=2) for c in ("G3 B3", "A3 D4", "A3 D4"))
          + note("G3", 3, voice=5, staff=2) + note("F#3", 1, voice=5, staff=2)
          + backup(4) + chord("A2 C#4", 4, voice=6, staff=2))
CLOSE = note("D5", 16) + backup(16) + chord("D3 F#3 A3", 16, voice=5, staff=2)


def eased(root: etree._Element, ease: int, bpm: int = 60) -> Draft:
    score, part = score_of(root, bpm)
    return arrange_within(score, part, SETTINGS, ease)


def struck(draft: Draft, bar: int) -> dict[Fraction, list[str]]:
    """Notes of a bar (from 0) by their place in it, lowest first."""
    start = draft.source.measures[bar].onset
    found: dict[Fraction, list[str]] = {}
    for n in sorted(draft.notes, key=lambda n: (n.onset, n.pitch.midi)):
        if n.source.measure == bar:
            found.setdefault(n.onset - start, []).append(n.pitch.name)
    return found


@pytest.mark.parametrize("ease", [1, 2, 3, 4])
def test_a_final_chord_keeps_its_bass_whatever_comes_just_before(ease):
    last = struck(eased(piano(DOTTED, CLOSE), ease, 70), 1)[Fraction(0)]
    assert (last[0], last[-1]) == ("D3", "D5")
    assert len(last) == min(ease + 1 if ease < 4 else 4, 4)


@pytest.mark.parametrize("ease", [1, 2, 3, 4, 5])
def test_no_short_note_stays_without_the_long_one_it_follows(ease):
    beat = struck(eased(piano(DOTTED, CLOSE), ease), 0)
    assert "E5" in beat[Fraction(3)]
    assert "A2" in beat[Fraction(3)]
    assert "G3" in beat[Fraction(3)] or "F#3" not in beat.get(Fraction(15, 4), ())


@pytest.mark.parametrize("bpm", [90, 160, 220])
def test_basses_on_strong_beats_stay_at_every_ease(bpm):
    beats = "".join(low("C3", 2) + chord("E3 G3", 2, voice=5, staff=2) for _ in range(4))
    bar = note("C5", 16) + backup(16) + beats
    for ease in (1, 2, 3):
        for number in (0, 1):
            found = struck(eased(piano(bar, bar, CLOSE), ease, bpm), number)
            assert found[Fraction(0)][0] == found[Fraction(2)][0] == "C3"


def test_the_reason_says_since_which_ease_a_note_is_missing():
    reasons = {e.reason for e in eased(piano(DOTTED, CLOSE), 1).ledger.entries if e.stage == "ease"}
    plain = "left out to make the part easier"
    assert plain in reasons
    assert reasons - {plain} <= {f"{plain} (already at ease {level})" for level in (2, 3, 4)}
    assert len(reasons) > 1


def test_a_rest_fills_the_beat_that_a_voice_began():
    document = document_of(piano(DOTTED))
    draft = draft_of(document, drop="F#3")
    harp = etree.fromstring(write(document, draft)).findall("part")[-1]
    (rest,) = [n for n in harp.iterfind("measure/note[rest]") if n.findtext("type") == "16th"]
    assert rest.get("print-object") != "no"
