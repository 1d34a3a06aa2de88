"""Damping: marked where a wire string would blur a harmony and a hand is free, and seldom."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, check, convert
from arranger.io.damp_words import read_damp_words
from arranger.model.draft import Damp, Draft
from arranger.model.errors import RuleError
from arranger.passes.damping import mark_damping
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.plan.damping import damped
from arranger.rulebook.damping import load_damping
from arranger.rulebook.files import rules_folder
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, chord, low, note, piano, score_of

HARP = load_harp("pedal-47")
SETTINGS = Settings(HARP, load_player("average"), load_prices())
RING = '<tied type="let-ring"/>'
#: C2 on the third beat of a chord of C, then a chord of G for a bar; the left hand has a rest.
C_BAR = chord("E4 G4 C5", 16) + backup(16) + low("r", 8) + low("C2", 4) + low("r", 4)
G_BAR = chord("D4 G4 B4", 16) + backup(16) + low("r", 16)


def drafted(*bars: str, bpm: int = 120) -> Draft:
    return arrange(*score_of(piano(*bars), bpm), SETTINGS).draft


def told(damps: tuple[Damp, ...]) -> list[tuple[str, str, list[str]]]:
    return [(str(d.onset), d.hand, [n.pitch.name for n in d.notes]) for d in damps]


def test_a_bass_that_clashes_with_the_next_harmony_is_damped_as_it_enters():
    assert told(drafted(C_BAR, G_BAR).damps) == [("4", "L", ["C2"])]


@pytest.mark.parametrize(("after", "bpm", "why"), [
    (chord("E4 A4 C5", 16) + backup(16) + low("r", 16), 120, "C belongs to the new chord too"),
    (chord("D4 F4 A4", 16) + backup(16) + low("r", 16), 120, "no semitone: heard as a seventh"),
    (chord("D4 G4 B4", 16) + backup(16) + "".join(low(n, 1) for n in ("G3", "D4") * 8), 132,
     "the left hand is busy"),
    (chord("D4 G4 B4", 16) + backup(16) + low("r", 16), 40, "so slow that the string is silent"),
    (chord("D4 G4 B4", 16) + backup(16) + low("r", 16), 360, "over before a hand is there")])
def test_no_mark_without_need_or_without_a_hand(after: str, bpm: int, why: str):
    last = chord("E4 G4 C5", 16) + backup(16) + low("C2", 16)
    assert drafted(C_BAR, after, last, bpm=bpm).damps == (), why


def test_what_the_composer_lets_ring_rings():
    free = chord("E4 G4 C5", 16) + backup(16) + low("r", 8) \
        + note("C2", 4, voice=5, staff=2, notations=RING) + low("r", 4)
    assert drafted(free, G_BAR).damps == ()


def test_the_hand_damps_after_its_own_note_of_the_new_harmony():
    """The next beat on which it is free."""
    own = chord("D4 G4 B4", 16) + backup(16) + low("G2", 4) + low("r", 12)
    assert told(drafted(C_BAR, own).damps) == [("5", "L", ["C2"])]


def test_marks_stand_apart():
    """A bass that clashes in every bar is marked now and then, not every time."""
    damps = drafted(*[C_BAR, G_BAR] * 8, bpm=150).damps
    assert 0 < len(damps) < 8
    assert all(b.seconds - a.seconds >= 4 for a, b in pairwise(damps))


def test_marked_strings_are_heard_less():
    notes, score = drafted(C_BAR, G_BAR).notes, drafted(C_BAR, G_BAR).source
    ((blur, damp),) = damped(notes, score, HARP.wire_top)
    assert damp is not None
    assert blur.exposure(damp.seconds) <= blur.exposure()
    assert blur.exposure(blur.stop) == 0 < blur.exposure()


def test_the_stage_leaves_its_own_output_alone():
    draft = drafted(C_BAR, G_BAR)
    assert mark_damping(draft, SETTINGS) == draft


#: G4 on the second beat, G#5 two beats later beside an A, the hands at rest between; at 120.
G_SHARP = note("C5", 4) + note("G4", 2) + note("r", 2) + note("r", 4) + chord("G#5 A5", 4) \
    + backup(16) + low("r", 16)


def of_pedals(draft: Draft) -> list[tuple[str, str, list[str]]]:
    return told(tuple(d for d in draft.damps if d.rule == "P2"))


def test_a_string_is_damped_for_its_pedal_by_a_hand_that_has_nothing_to_do():
    draft = drafted(G_SHARP)
    ((onset, _, names),) = of_pedals(draft)
    (move,) = draft.plan.moves
    assert (move.pedal, names) == ("G", ["G4"])
    assert Fraction(3, 2) <= Fraction(onset) <= move.onset


@pytest.mark.parametrize(("bar", "bpm", "why"), [
    (G_SHARP, 30, "it has died away"),
    (note("C5", 4) + note("G4", 8) + chord("G#5 A5", 4) + backup(16) + low("r", 16), 120,
     "it is held as written"),
    (note("C5", 4) + note("G4", 2) + "".join(note(n, 1) for n in ("B4", "C5") * 3)
     + chord("G#5 A5", 4) + backup(16) + "".join(low(n, 1) for n in ("E3", "F3") * 8), 120,
     "both hands are busy"),
    (note("C5", 4) + note("G4", 2, notations=RING) + note("r", 6) + chord("G#5 A5", 4) + backup(16)
     + low("r", 16), 120, "it is to ring")])
def test_no_string_is_damped_for_a_pedal_without_need_or_hand(bar: str, bpm: int, why: str):
    draft = drafted(bar, bpm=bpm)
    assert len(draft.plan.moves) == 1
    assert of_pedals(draft) == [], why


def test_a_damped_string_is_no_slide_to_the_check_and_the_sign_is_kept(tmp_path: Path):
    first = convert(Request(saved(tmp_path, G_SHARP)))
    assert signs(first.files["draft.musicxml"]) == ["damp G"]
    (damp,) = first.report["damping"]
    assert (damp["rule"], damp["strings"]) == ("P2", ["G4"])
    assert ", for the pedal" in first.files["report.html"].decode()
    assert "P2" not in {f["code"] for f in first.report["findings"]}
    draft = tmp_path / "draft.musicxml"
    draft.write_bytes(first.files["draft.musicxml"])
    second = convert(Request(draft, page=False))
    assert signs(second.files["draft.musicxml"]) == ["damp G"]
    assert second.report["pedals"] == first.report["pedals"]
    assert second.report["damping"] == first.report["damping"]
    assert "P2" not in {f["code"] for f in check(Request(draft, page=False)).report["findings"]}


def test_signs_for_damping_may_be_left_out_and_are_told_all_the_same(tmp_path: Path):
    usual, bare = (convert(Request(saved(tmp_path, G_SHARP), page=False, verify=True, damping=how))
                   for how in ("all", "none"))
    assert signs(bare.files["draft.musicxml"]) == []
    assert bare.report["damping"] == usual.report["damping"] != []
    assert bare.report["pedals"] == usual.report["pedals"]
    assert bare.report["settings"]["damping"] == "none"


@pytest.mark.parametrize(("text", "letters"), [
    ("damp F", "F"), ("damp low C, G", "CG"), (" damp A, B ", "AB"), ("damp", ""),
    ("damp everything", ""), ("damp F and G", "")])
def test_words_beside_a_sign_name_its_strings(text: str, letters: str):
    assert read_damp_words(text) == letters


@pytest.mark.parametrize(("said", "silent"), [("damp F", True), ("damp G", False), ("", True)])
def test_a_sign_damps_the_strings_it_names(tmp_path: Path, said: str, silent: bool):
    """F2 rings as its pedal moves."""
    mark = (f"<direction><direction-type><damp/></direction-type><direction-type><words>{said}"
            f"</words></direction-type></direction>")
    bar = (note("r", 16) + backup(16) + low("F2", 4) + mark + low("r", 4) + low("F#2", 8))
    result = check(Request(saved(tmp_path, bar), page=False))
    assert ("P2" not in {f["code"] for f in result.report["findings"]}) is silent


def saved(folder: Path, *bars: str) -> Path:
    root = piano(*bars)
    first = root.find("part/measure")
    assert first is not None
    first.insert(1, etree.fromstring('<sound tempo="120"/>'))
    path = folder / "piece.musicxml"
    path.write_bytes(etree.tostring(root))
    return path


def signs(draft: bytes) -> list[str]:
    return [d.findtext("direction-type/words") or "" for d in etree.fromstring(draft).iter(
        "direction") if d.find("direction-type/damp") is not None]


def test_a_mark_is_written_once_told_and_kept_when_the_draft_is_arranged_again(tmp_path: Path):
    first = convert(Request(saved(tmp_path, C_BAR, G_BAR)))
    draft = tmp_path / "draft.musicxml"
    draft.write_bytes(first.files["draft.musicxml"])
    second = convert(Request(draft, page=False))
    assert signs(first.files["draft.musicxml"]) == ["damp low C"]
    assert signs(second.files["draft.musicxml"]) == ["damp low C"]
    (damp,) = first.report["damping"]
    assert (damp["bar"], damp["beat"], damp["hand"], damp["strings"]) == ("2", "1", "L", ["C2"])
    assert "the left hand damps C2" in first.files["report.html"].decode()
    assert second.report["damping"] == first.report["damping"]
    assert second.report["pedals"] == first.report["pedals"]


@pytest.mark.parametrize("sign", ["damp", "damp-all", ""])
def test_the_check_reads_marks_in_a_part(tmp_path: Path, sign: str):
    """A bass that is damped does not ring into the next chord."""
    mark = f"<direction><direction-type><{sign}/></direction-type></direction>" if sign else ""
    bar = (chord("E4 G4 C5", 8) + mark + chord("D4 G4 B4", 8) + backup(16) + low("C2", 8)
           + low("G1", 8))
    result = check(Request(saved(tmp_path, bar), page=False))
    assert ("R2" in {f["code"] for f in result.report["findings"]}) is (sign == "")


@pytest.mark.parametrize(("old", "new", "told"), [
    ("value = 0.25", "value = -1", "share.value must be a number of at least 0"),
    ("[share]", "[shares]", "unknown key"), ("[share]", "[more]\n[share]", "unknown key")])
def test_a_wrong_file_of_numbers_is_refused(tmp_path: Path, old: str, new: str, told: str):
    path = tmp_path / "damping.toml"
    path.write_text((rules_folder() / "damping.toml").read_text().replace(old, new))
    with pytest.raises(RuleError, match=told):
        load_damping(path)
