"""The figures checked on scores small enough to count by hand, and against the printed table."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from tests import metrics_comfort as comfort
from tests import metrics_fidelity as fidelity
from tests import metrics_hands as in_hands
from tests.evaluate import evaluate, main, means
from tests.score_reading import read_score
from tests.score_values import STEPS, Note, Score
from tests.simulator import simulate
from tests.test_simulator import bar, diagram, note, rest, tempo, words
from tests.test_simulator import score as written

DATA = Path(__file__).parents[1] / ".." / "shared" / "data"


def n(name: str, onset: str | int = 0, duration: str | int = 1, staff: int = 1,
      **more: object) -> Note:
    step, sign, octave = re.fullmatch(r"([A-G])([#b]*)(\d)", name).groups()
    alter = sign.count("#") - sign.count("b")
    midi = 12 * (int(octave) + 1) + (0, 2, 4, 5, 7, 9, 11)[STEPS.index(step)] + alter
    return Note("P1", 0, "1", Fraction(onset), Fraction(duration), step, alter, int(octave), midi,
                staff, **more)


def several(names: str, onset: str | int = 0, duration: str | int = 1,
            **more: object) -> list[Note]:
    return [n(name, onset, duration, **more) for name in names.split()]


def test_note_rates_exact_and_lenient() -> None:
    source = several("C4 E4 G4 C5")
    draft = [*several("C4 E4 C6"), n("A4")]
    rates = fidelity.note_rates(source, draft)
    assert rates["A1_P"] == 0.5
    assert rates["A1_R"] == 0.5
    assert rates["A1_lenient_R"] == 0.75
    assert rates["A1_octaves"] == pytest.approx(1 / 3)
    assert fidelity.note_rates(source, source)["A1_F"] == 1
    assert fidelity.note_rates(source, several("C4 E4 G4 C5", 1))["A1_F"] == 0


def test_unisons_of_two_parts_are_one_sound() -> None:
    source = [*several("C4 E4"), replace(n("E4"), part="P2")]
    rates = fidelity.note_rates(fidelity.attacks(source), several("C4 E4"))
    assert (rates["A1_R"], rates["A1_R_sounds"]) == (pytest.approx(2 / 3), 1)


def test_octave_matching_is_the_cheapest() -> None:
    def brute(ours: list[int], theirs: list[int]) -> int:
        short, long = sorted((ours, theirs), key=len)
        return min(sum(abs(a - b) // 12 for a, b in zip(short, order, strict=False))
                   for order in permutations(long))
    for ours, theirs in [([60], [48, 72, 84]), ([48, 60, 84], [60, 72]), ([36, 96], [60, 72, 84])]:
        assert fidelity._octaves(ours, theirs) == brute(ours, theirs)


def cut(source: list[Note], draft: list[Note]) -> list[fidelity.Slice]:
    return fidelity.slices(fidelity.attacks(source), fidelity.attacks(draft))


def test_melody_is_the_skyline_struck_and_still_on_top() -> None:
    held = [n("C5", 0, 4), n("E4", 1), n("G4", 2), n("D5", 4, 2), n("C4", 0, 6, 2)]
    assert [m.name for m, _ in fidelity.skyline(cut(held, held))] == ["C5", "D5"]
    assert fidelity.melody_and_bass(cut(held, held))["A2"] == 1
    without = [m for m in held if m.name != "D5"]
    assert fidelity.melody_and_bass(cut(held, without))["A2"] == pytest.approx(4 / 6)
    covered = [*held, n("E5", 0, 1)]
    assert fidelity.melody_and_bass(cut(held, covered))["A2"] == pytest.approx(2 / 6)


def test_bass_by_class_and_exact() -> None:
    source = [n("C3", 0, 2, 2), n("E4", 0, 2), n("G2", 2, 2, 2), n("G4", 2, 2)]
    draft = [n("C4", 0, 2, 2), n("E4", 0, 2), n("G2", 2, 2, 2), n("G4", 2, 2)]
    found = fidelity.melody_and_bass(cut(source, draft))
    assert (found["A3"], found["A3_exact"], found["A2"]) == (1, 0.5, 1)
    missing = fidelity.melody_and_bass(cut(source, draft[1:]))
    assert missing["A3"] == 0.5


def test_contour() -> None:
    source = [n("C5", 0), n("E5", 1), n("D5", 2)]
    same = fidelity.melody_and_bass(cut(source, [n("C4", 0), n("A4", 1), n("D4", 2)]))
    assert (same["A2_contour"], same["A2"]) == (1, 0)
    turned = fidelity.melody_and_bass(cut(source, [n("C5", 0), n("B4", 1), n("A4", 2)]))
    assert turned["A2_contour"] == 0.5


def test_harmony_recall_precision_and_thirds() -> None:
    source = several("C4 E4 G4", 0, 3) + several("G3 B3 D4 F4", 3, 1)
    draft = several("C4 G4", 0, 3) + several("G3 B3 F4 A4", 3, 1)
    found = fidelity.harmony(cut(source, draft))
    assert found["A4_recall"] == pytest.approx((3 * 2 + 3) / (3 * 3 + 4))
    assert found["A4_precision"] == pytest.approx((3 * 2 + 3) / (3 * 2 + 4))
    assert found["A5"] == 0.5


@pytest.mark.parametrize(("pcs", "bass", "expected"), [
    ({0, 4, 7}, 0, (0, 4, None)), ({0, 4, 7}, 4, (0, 4, None)), ({9, 0, 4}, 9, (9, 0, None)),
    ({7, 11, 2, 5}, 7, (7, 11, 5)), ({0, 4, 7, 11}, 0, (0, 4, 11)), ({2, 5, 8, 11}, 8, (8, 11, 5)),
    ({11, 2, 5, 9}, 11, (11, 2, 9)), ({0, 4, 7, 9}, 0, (9, 0, 7))])
def test_chord_root(pcs: set[int], bass: int, expected: tuple[int, int, int | None]) -> None:
    assert fidelity.chord_root(frozenset(pcs), bass) == expected


def test_tonal_centroid_distance() -> None:
    same = cut(several("C4 E4 G4"), several("C5 E3 G4"))
    assert fidelity.centroid_distance(same) == pytest.approx(0)
    # a semitone apart: fifths circle 7 steps of 30 degrees, thirds 90, major thirds 120 degrees
    apart = math.sqrt((2 * math.sin(math.pi * 7 / 12)) ** 2 + 2 + (2 * 0.5 * math.sin(math.pi / 3))
                      ** 2)
    assert fidelity.centroid_distance(cut([n("C4")], [n("C#4")])) == pytest.approx(apart)


def test_tension_follows_spelling() -> None:
    source = several("C4 E4 G4", 0) + several("C4 F#4", 1) + several("C4 G4", 2)
    assert fidelity.tension(cut(source, source)) == pytest.approx(1)
    assert fidelity._diameter(frozenset({0, 1})) == pytest.approx(math.sqrt(2 + 2 / 15))
    assert fidelity._diameter(frozenset({0, 4})) == pytest.approx(4 * math.sqrt(2 / 15))
    assert fidelity.tension(cut([n("C4")], [n("C4")])) is None


def test_rhythm_density_and_symbols() -> None:
    source = [n("C4", i) for i in range(4)]
    draft = [n("C4", 0), n("C4", 2), n("C4", "5/2")]
    found = fidelity.rhythm_and_density(source, draft)
    assert found["A8"] == 0.5
    assert found["A8_false"] == pytest.approx(1 / 3)
    assert found["A9_rate"] == pytest.approx(math.log2(3 / 4))
    assert fidelity.symbol_distance(source, draft) == pytest.approx((2 + 1) / 7)


def entry(before: list[Note], after: list[Note]) -> dict[str, object]:
    return {side: [{"id": f"{side}{x.name}{x.onset}", "onset": str(x.onset), "midi": x.midi}
                   for x in notes] for side, notes in (("before", before), ("after", after))}


def test_ledger_closes_only_when_every_difference_is_told_once() -> None:
    source, draft = several("C4 E4 G4"), [*several("C4 G4"), n("E5")]
    told = [entry([n("E4")], [n("E5")])]
    assert fidelity.ledger_closure(source, draft, told)["A11_closed"] == 1
    untold = fidelity.ledger_closure(source, draft, [])
    assert (untold["A11"], untold["A11_closed"], untold["differences"]) == (0, 0, 2)
    half = fidelity.ledger_closure(source, draft, [entry([n("E4")], [])])
    assert half["A11"] == 0.5
    twice = fidelity.ledger_closure(source, draft, [*told, entry([n("E4")], [n("C4")]),
                                                    entry([n("C4")], [n("E4")])])
    assert twice["A11_closed"] == 0
    foreign = fidelity.ledger_closure(source, source, [entry([n("B4")], []), entry([], [n("B4")])])
    assert (foreign["A11"], foreign["A11_closed"]) == (1, 0)
    same = fidelity.ledger_closure(source, source, [entry([n("E4")], [n("E4")])] * 2)
    assert same["A11_closed"] == 1
    grace = {**entry([n("B4", grace=True)], []), "grace": True}
    assert fidelity.ledger_closure(source, source, [grace])["A11_closed"] == 1


def test_doublings_kept() -> None:
    source = [*several("C3 E4 C5"), n("C4", 0, 1, 2), n("D4", 1)]
    assert fidelity.doublings(source, source) == {"doublings_kept": 1, "doublings": 3}
    assert fidelity.doublings(source, several("C3 C5"))["doublings_kept"] == pytest.approx(2 / 3)


def test_rolls_added_and_those_that_had_no_need() -> None:
    plain = several("C4 E4", 0) + several("C4 F5", 1) + several("C4 G5", 2)
    rolled = [*several("C4 E4", 0, arpeggiate=True), *several("C4 F5", 1, arpeggiate=True),
              *several("C4 G5", 2)]
    found = fidelity.rolls(plain, rolled)
    assert found["rolls_added"] == pytest.approx(200 / 3)
    assert found["rolls_within_tenth"] == 1
    assert fidelity.rolls(rolled, rolled)["rolls_added"] == 0
    left = several("C3 E3", 0, staff=2)
    both = [*rolled, *several("C3 E3", 0, staff=2, arpeggiate=True)]
    assert fidelity.rolls([*rolled, *left], both)["rolls_added"] == 25


def test_roles_and_what_was_dropped() -> None:
    source = several("C3 C4 E4 G4 C5 D4")
    assert {x.name: role for x, role in fidelity.roles(source)} == {
        "C5": "melody", "C3": "bass", "C4": "doubling", "E4": "third-seventh", "G4": "other",
        "D4": "other"}
    dropped = comfort.dropped_roles(source, several("C3 C4 G4 C5"))
    assert (dropped["lost_third-seventh"], dropped["lost_other"]) == (1, 1)
    assert dropped["D1_other"] == 0.5


# ------------------------------------------------------------------------------ comfort


def profile(notes: list[Note], bpm: float = 60, **more: int) -> dict[str, float]:
    """Counts instead of rates: per hundred of a hundred notes."""
    found = comfort.comfort_profile(notes, bpm, per=more.pop("per", 100))
    return {k: v for k, v in found.items() if v and k not in ("notes", "over_tenth_unrolled")}


@pytest.mark.parametrize(("notes", "expected"), [
    ([n("F4", 0), n("F#5", 1)], {"letter_changes": 1}),
    ([n("F4", 0), n("F#5", "2/5")], {"letter_changes": 1}),
    ([n("F4", 0), n("F#5", "39/100")], {"letter_changes": 1, "letter_turn_fast": 1}),
    ([n("F4", 0), n("F#5", 0)], {"letter_changes": 1, "letter_turn_fast": 1, "over_tenth": 0}),
    (several("C4 F5"), {"over_tenth": 1}),
    (several("C4 E5"), {}),
    (several("C4 D4 E4 F4 G4"), {"five_fingers": 1}),
    (several("C4 D4 E4 F4"), {}),
    ([n("C4"), n("C4", staff=2)], {"unison_clash": 1}),
    ([n("C4"), n("B3", staff=2)], {"adjacent_hands": 1}),
    ([n("C4"), n("A3", staff=2)], {}),
    ([n("C4"), n("C4", "29/100", staff=2)], {"collision": 1}),
    ([n("C4"), n("C4", "3/10", staff=2)], {}),
    ([n("C4"), n("C4", "19/100")], {"fast_restrike": 1}),
    ([n("C4"), n("C4", "1/5")], {}),
    ([n("C4"), n("F4", "1/2")], {"travel95": 6}),
    ([n("C4"), n("C4", "1/10", grace=True)], {}),
])
def test_profile_line_by_line(notes: list[Note], expected: dict[str, float]) -> None:
    wanted = {k: v for k, v in expected.items() if v}
    found = profile(notes)
    if "travel95" not in wanted:
        found.pop("travel95", None)
    assert found == pytest.approx(wanted)


def test_profile_rates_are_per_notes_of_the_source_and_need_the_tempo() -> None:
    notes = [n("C4"), n("C4", "1/4")]
    assert comfort.comfort_profile(notes, 60)["fast_restrike"] == 0
    assert comfort.comfort_profile(notes, 90)["fast_restrike"] == 50
    assert comfort.comfort_profile(notes, 90, per=4)["fast_restrike"] == 25


def manifest(folder: str) -> Iterator[tuple[Path, str]]:
    table = DATA / "MANIFEST.tsv"
    if not table.exists():
        pytest.skip("no shared data here")
    with table.open() as file:
        for row in csv.DictReader(file, delimiter="\t"):
            if row["file"].startswith(folder + "/"):
                yield DATA / row["file"], row["metric_part"]


def table(folder: str, at_least: int = 0) -> dict[str, float]:
    rows = []
    for path, part in manifest(folder):
        score = read_score(path)
        notes = list(score.part_notes([part])) or list(score.notes)
        found = comfort.comfort_profile(notes, float(score.tempo[0][1]))
        if found["notes"] > at_least:
            rows.append(found)
    whole = sum(r["notes"] for r in rows)
    return {k: sum(r[k] * r["notes"] for r in rows) / whole for k in comfort.PIANO} \
        | {"files": len(rows)}


def test_real_harp_parts_are_near_the_printed_column() -> None:
    found = table("harp", at_least=60)
    assert found["files"] == 27
    for line in ("letter_changes", "letter_turn_fast", "over_tenth"):
        assert found[line] == pytest.approx(comfort.HARP[line], abs=0.03), line
    for line in ("five_fingers", "unison_clash", "collision", "adjacent_hands", "fast_restrike",
                 "travel95"):
        assert found[line] >= comfort.HARP[line], line  # the bar is the better of the two


@pytest.mark.campaign
def test_piano_parts_are_near_the_printed_column() -> None:
    found = table("piano")
    for line, value in comfort.PIANO.items():
        assert found[line] == pytest.approx(value, rel=0.05), line


def read(*items: str) -> tuple[Score, bytes]:
    data = written(bar(tempo(60), diagram(), *items))
    return read_score(data), data


def test_feet_figures() -> None:
    data = written(bar(tempo(60), diagram(F=-1), words("F♯", box=True), rest(8), words("G♯"),
                       rest(8), words("A♯ D♯"), rest(16)), bar(rest(32)))
    score, result = read_score(data), simulate(data)
    found = comfort.feet(result, len(score.bars))
    assert found == {"C2_mean": 2, "C2_foot_rate": 1, "C3": 0.25, "moves": 4}
    assert comfort.moves_in_fullest_bar(result, score) == 4


def test_hands_figures() -> None:
    score, data = read(note("C4", 1, finger=2), note("D4", 7, finger=2), note("C5", 8, finger=2))
    found = comfort.hands(score.notes, score)
    assert found["C5_max"] == 8  # one string in an eighth of a second
    assert found["C5_mean"] == pytest.approx((8 + 6 / 0.875) / 2)
    assert found["C8"] == pytest.approx(100 / 3)
    assert comfort.hazard(comfort.troubles(score.notes, simulate(data), score)) == 0


def test_ring_exposure_is_the_level_a_pedal_moves_on() -> None:
    """Rule P2: a string falls by 60 dB in its time; a foot moves in the bar's last half."""
    low = read(note("C2", 16), words("C♯"), note("G4", 16),
               note("C#2", 32))
    score, data = low
    at = next(m.seconds for m in simulate(data).written_moves)
    expected = 10 ** (-3 * at / in_hands.decay_seconds(36))
    found = in_hands.ring_exposure(score.notes, simulate(data), score)
    assert found["C4"] == pytest.approx(100 / 3 * expected)
    assert found["C4_loud"] == pytest.approx(100 / 3 * (expected > 0.3))
    unmoved = read(note("C4", 8), note("G4", 8))
    assert in_hands.ring_exposure(unmoved[0].notes, simulate(unmoved[1]), unmoved[0])["C4"] == 0


@pytest.mark.parametrize(("sign", "staff", "silent", "busy"), [
    ("damp F", 2, True, False), ("damp G", 2, False, False), ("", 2, True, False),
    ("damp F", 1, False, True)])
def test_a_damped_string_is_silent_where_its_hand_is_free(sign: str, staff: int, silent: bool,
                                                          busy: bool) -> None:
    """F3 of the left hand, a sign while the right one plucks, and the pedal."""
    mark = (f"<direction><direction-type><damp/></direction-type><direction-type><words>{sign}"
            f"</words></direction-type><staff>{staff}</staff></direction>")
    score, data = read(note("F3", 4, staff=2), note("A4", 4), mark, words("F♯"),
                       note("C5", 4), note("F#3", 4, staff=2))
    found = in_hands.ring_exposure(score.notes, simulate(data), score)
    assert found["C4"] > 0
    assert found["C4_damped"] == (0 if silent else found["C4"])
    assert found["C4_placed"] <= found["C4_damped"]
    assert (found["damps"], found["damps_busy"]) == (100, 100 * busy)


@pytest.mark.parametrize(("since", "lead", "lies"), [
    (8, 3, True), (8, 2, True), (8, 1, False), (8, 4, False), (2, 3, True), (1, 3, False)])
def test_a_string_is_silent_while_a_finger_lies_on_it(since: int, lead: int, lies: bool) -> None:
    """C3 is plucked ``since`` eighths of a second before the pedal of F3 moves, F sharp after."""
    score, data = read(note("F3", 8, staff=2), note("C3", since, staff=2), words("F♯"),
                       rest(lead), note("F#3", 4, staff=2))
    found = in_hands.ring_exposure(score.notes, simulate(data), score)
    assert found["C4_damped"] == found["C4"] > 0
    assert found["C4_placed"] == (0 if lies else found["C4"])


def test_placing_slack() -> None:
    near, far = (read(tempo(60), note("C4", 4), note(name, 4)) for name in ("D4", "C7"))
    assert in_hands.placing_slack(near[0].notes, near[0]) == pytest.approx(0.4 - 1 / 27)
    assert in_hands.placing_slack(far[0].notes, far[0]) == pytest.approx(0.4 - 21 / 27)
    again = read(note("C4", 4), note("C4", 4))[0]
    assert in_hands.placing_slack(again.notes, again) is None


def test_hand_balance_in_broken_chords() -> None:
    staves = [1, 1, 1, 1, 2, 2]
    notes = [n(name, k, staff=staff) for k, (name, staff) in enumerate(
        zip(["C4", "E4", "G4", "C5", "C3", "E3"], staves, strict=True))]
    one_bar = read(note("C4", 32))[0]
    assert in_hands.balance(notes, one_bar) == pytest.approx(2 / 6)
    assert in_hands.balance(notes[:5], one_bar) is None


@pytest.mark.parametrize(("line", "expected"), [
    ("C4:4 D4:3 E4:2 F4:1", 0), ("C4:1 D4:3", 0), ("C4:3 D4:1", 0),  # on, under, and skipping one
    ("C4:2 D4:3", 1), ("C4:2 D4:2", 1), ("C4:1 A4:3", 1)])  # over a finger, again, a turn too far
def test_irrational_fingers(line: str, expected: float) -> None:
    """Fingers rise to the thumb; a hand turns on its thumb over few strings (common practice)."""
    named = [word.split(":") for word in line.split()]
    score = read(*(note(name, 2, finger=int(f)) for name, f in named))[0]
    assert in_hands.irrational_fingers(score.notes, score) == expected


def test_difficulty_rate() -> None:
    assert in_hands.difficulty_rate(np.array([])) == 0
    assert in_hands.difficulty_rate(np.array([0.0, 0.1, 0.2, 0.3])) == 2


def test_repetition() -> None:
    data = written(*(bar(note("C4", 32)) for _ in range(3)), bar(note("D4", 32)))
    score = read_score(data)
    same = list(score.notes)
    assert comfort.repetition(same, same, score) == 1
    lowered = [*same[:2], n("C3", 8, 4), same[3]]
    assert comfort.repetition(same, lowered, score) == pytest.approx(1 / 3)
    assert comfort.repetition(same[2:], same[2:], score) is None


def test_enharmonic_doublings_used() -> None:
    score, _ = read(note("F#4", 1), note("Gb4", 1), note("F#4", 1), note("F#4", 1), note("D4", 1),
                    note("D4", 1))
    assert comfort.enharmonic_doublings(score.notes, score) \
        == {"D2": pytest.approx(2 / 3), "D2_available": 3}


def test_respelling_rates() -> None:
    source = [n("F#4", 0, fifths=1), n("D#4", 1, fifths=1), n("A4", 2, fifths=1),
              n("Bb4", 3, fifths=1)]
    draft = [n("Gb4", 0), n("Eb4", 1), n("A4", 2), n("Bb4", 3)]
    assert comfort.respelling(source, draft) == {"D3": 0.5, "D3_chromatic": 0.5}


def test_legible_moves() -> None:
    early = read(note("F4", 8), words("F♯"), note("G4", 8), note("F#4", 8))
    late = read(note("F4", 8), note("G4", 8), words("F♯"), note("F#4", 8))
    run = read(note("F4", 8), note("G4", 1), words("A♯"), note("G4", 1), note("E4", 16))
    for (score, data), expected in ((early, 1), (late, 0), (run, 0)):
        assert comfort.legible_moves(score.notes, simulate(data), score) == expected


def test_everything_together_on_an_untouched_part() -> None:
    score, data = read(note("F4", 8), words("F♯"), note("G4", 8), note("F#4", 8))
    notes = score.notes
    found = fidelity.fidelity(notes, notes, [])
    assert all(found[k] == 1 for k in ("A1_F", "A2", "A3", "A4_recall", "A5", "A8", "A11",
                                       "A11_closed", "doublings_kept"))
    feasible = in_hands.comfort(notes, notes, score, simulate(data))
    assert feasible["violations"] == 0
    assert feasible["D3"] == 0


# ------------------------------------------------------------------------------ the evaluation


def test_a_bad_file_is_a_row_with_one_line(tmp_path: Path) -> None:
    bad = tmp_path / "bad.musicxml"
    bad.write_text("no score")
    row = evaluate(bad)
    assert row["file"] == "bad.musicxml"
    assert row["error"].startswith("RunError: exit 3")
    assert "\n" not in row["error"]
    assert means([row])["failed"] == 1


def test_a_small_score_is_measured_from_what_was_written(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "small.musicxml"
    source.write_bytes(written(bar(tempo(60), note("G4", 8), note("G#4", 8), note("A4", 16))))
    row = evaluate(source, twice=True, again=True, baseline=True)
    assert "error" not in row
    assert (row["notes"], row["A1_F"], row["A11_closed"], row["violations"]) == (3, 1, 1, 0)
    assert row["same_bytes"]
    assert row["stable"]
    assert row["moves"] == 1
    assert row["lost"] == []
    assert main([str(source), "--jobs", "1", "--profile", "-o", str(tmp_path / "x.json")]) == 0
    assert "violations: none" in capsys.readouterr().out
    assert (tmp_path / "x.json").stat().st_size > 1000


@pytest.mark.parametrize(("line", "alike", "on_beat"), [
    ("C4:4 E4:3 G4:2 C5:1 D4:4 F4:3 A4:2 D5:1 E4:4", 1, 1),
    ("C4:4 E4:3 G4:2 C5:1 D4:4 F4:2 A4:2 D5:1 E4:4", 0, 2 / 3),
    ("C4:2 E4:1 G4:4 C5:3 E5:2 G5:1 C6:3 E6:2", None, 0)])
def test_fingers_read_at_sight(line: str, alike: float | None, on_beat: float) -> None:
    """Beats of four notes: equal figures, and where fingers do not go on."""
    named = [word.split(":") for word in line.split()]
    score = read(*(note(name, 2, finger=int(f)) for name, f in named))[0]
    found = in_hands.read_at_sight(score.notes, score)
    assert found["alike_bars"] is None
    assert found["alike_beats"] == alike
    assert found["begun_on_beat"] == on_beat


def test_a_thumb_that_slides_to_the_string_below_is_no_fault() -> None:
    score = read(note("G4", 1, finger=1), note("F4", 1, finger=1), note("E4", 1, finger=2))[0]
    assert comfort.hands(score.notes, score)["C8"] == 0
    assert in_hands.irrational_fingers(score.notes, score) == 0
