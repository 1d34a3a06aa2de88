"""The reader, notation by notation, on small handwritten scores; then against music21."""

from __future__ import annotations

import zipfile
from collections import Counter
from dataclasses import replace
from fractions import Fraction as F
from importlib.util import find_spec
from pathlib import Path

import pytest

from arranger.io import musicxml_tree
from arranger.io.document import Document
from arranger.io.musicxml_read import read
from arranger.io.playing_order import Flow, playing_order
from arranger.io.tempo import contradicted, in_beats, word_tempo
from arranger.io.transposition import Transposition
from arranger.model.errors import ChoiceError, SourceError
from arranger.model.pitch import Pitch
from arranger.model.score import Note, Slower, TempoMap, TempoMark
from tests.music21_oracle import attacks


def ticks(length: F | int | str) -> str:
    """Divisions as a file writes them, decimal where they must be."""
    exact = F(length) * 12
    return str(exact) if exact.denominator == 1 else str(float(exact))


DIV = "<attributes><divisions>12</divisions></attributes>"


def n(name: str, length: F | int | str = 1, inside: str = "", *, voice: str = "1", staff: int = 1,
      chord: bool = False, grace: bool = False, cue: bool = False, tie: str = "") -> str:
    """One note, ``length`` in quarter notes; ``name`` may be "rest"; ``tie`` is of < > <>."""
    pitch = Pitch.parse(name) if name != "rest" else None
    head = "<rest/>" if pitch is None else (
        f"<pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>"
        f"<octave>{pitch.octave}</octave></pitch>")
    ties = {"": "", ">": '<tie type="start"/>', "<": '<tie type="stop"/>',
            "<>": '<tie type="stop"/><tie type="start"/>'}[tie]
    duration = "" if grace else f"<duration>{ticks(length)}</duration>"
    return (f"<note>{'<grace/>' if grace else ''}{'<cue/>' if cue else ''}"
            f"{'<chord/>' if chord else ''}{head}{duration}{ties}<voice>{voice}</voice>"
            f"<staff>{staff}</staff>{inside}</note>")


def back(length: F | int | str) -> str:
    return f"<backup><duration>{ticks(length)}</duration></backup>"


def forth(length: F | int | str) -> str:
    return f"<forward><duration>{ticks(length)}</duration></forward>"


def score(*parts: list[str], heads: str = "") -> Document:
    """Read parts given as lists of the content of their bars; divisions are 12."""
    listed = "".join(f'<score-part id="P{i}"><part-name>Part {i}</part-name></score-part>'
                     for i in range(1, len(parts) + 1))
    body = ""
    for i, bars in enumerate(parts, start=1):
        measures = "".join(f'<measure number="{b}">{DIV if b == 1 else ""}{content}</measure>'
                           for b, content in enumerate(bars, start=1))
        body += f'<part id="P{i}">{measures}</part>'
    text = f"<score-partwise>{heads}<part-list>{listed}</part-list>{body}</score-partwise>"
    return read(musicxml_tree.parse(text.encode(), "test"), "test")


def one(*bars: str) -> Document:
    return score(list(bars))


def seen(document: Document) -> list[tuple[str, F, F]]:
    """Name, onset and duration of every note in order."""
    return [(note.pitch.name, note.onset, note.duration) for note in document.score.notes]


def only(document: Document) -> Note:
    (note,) = document.score.notes
    return note


# voices, chords, staves

def test_notes_rests_and_chords_follow_each_other() -> None:
    document = one(n("C4") + n("rest") + n("E4", 2) + n("G4", 2, chord=True))
    assert seen(document) == [("C4", 0, 1), ("E4", 2, 2), ("G4", 2, 2)]
    assert [note.chord for note in document.score.notes][1:] == [3, 3]
    assert [note.id for note in document.score.notes] == ["n1", "n2", "n3"]


def test_backup_and_forward_move_the_cursor() -> None:
    document = one(n("C5", 4) + back(4) + forth(1) + n("E4", voice="2", staff=2) + back(2)
                   + n("G3", voice="3", staff=2))
    assert seen(document) == [("G3", 0, 1), ("C5", 0, 4), ("E4", 1, 1)]
    assert [(x.voice, x.staff) for x in document.score.notes] == [("3", 2), ("1", 1), ("2", 2)]
    assert document.score.parts[0].staves == 2


def test_a_backup_too_long_stops_at_the_bar() -> None:
    assert seen(one(n("C5") + back(3) + n("E4", voice="2")))[0] == ("E4", 0, 1)


def test_a_chord_after_a_longer_chord_note_does_not_move_the_cursor() -> None:
    document = one(n("C4", 1) + n("E4", 3, chord=True) + n("F4", 1))
    assert seen(document) == [("C4", 0, 1), ("E4", 0, 3), ("F4", 1, 1)]


def test_a_chord_may_cross_the_staves() -> None:
    document = one(n("C3", staff=2) + n("E4", chord=True, staff=1) + n("G4", staff=1))
    assert [(x.pitch.name, x.staff, x.onset) for x in document.score.notes] == [
        ("C3", 2, 0), ("E4", 1, 0), ("G4", 1, 1)]


def test_parts_are_read_side_by_side_and_can_be_chosen() -> None:
    document = score([n("C4", 4)], [n("E4", 2) + n("F4", 2)])
    assert [(x.part, x.pitch.name) for x in document.score.notes] == [
        ("P1", "C4"), ("P2", "E4"), ("P2", "F4")]
    chosen = read(document.root, "test", ["P2"])
    assert [x.pitch.name for x in chosen.score.notes] == ["E4", "F4"]
    assert [x.id for x in chosen.score.notes] == ["n2", "n3"]
    assert [p.name for p in chosen.score.parts] == ["Part 1", "Part 2"]
    with pytest.raises(ChoiceError, match=r"test: no part 'P9'; it has P1, P2"):
        read(document.root, "test", ["P9"])


def test_cue_and_unpitched_notes_take_time_but_do_not_sound() -> None:
    drum = n("rest").replace("<rest/>", "<unpitched/>")
    assert seen(one(n("C4", cue=True) + drum + n("E4"))) == [("E4", 2, 1)]


def test_octave_shift_is_display() -> None:
    sign = '<direction><direction-type><octave-shift type="down" size="8"/></direction-type>'
    assert only(one(f"{sign}</direction>" + n("C6"))).pitch.name == "C6"


# durations

def test_tuplets_are_exact() -> None:
    third = n("C4", F(1, 3))
    assert [x[1] for x in seen(one(third * 3 + n("D4")))] == [0, F(1, 3), F(2, 3), 1]
    quintuplet = "<attributes><divisions>5</divisions></attributes>" + n("E4", F(1, 12)) * 5
    assert seen(one(n("C4") + quintuplet))[-1] == ("E4", F(9, 5), F(1, 5))


def test_divisions_may_change_and_be_decimal() -> None:
    decimal = "<attributes><divisions>2.5</divisions></attributes>"
    document = one(n("C4") + decimal + n("D4", F(5, 24)) + n("E4", F(1, 24)))
    assert seen(document) == [("C4", 0, 1), ("D4", 1, 1), ("E4", 2, F(1, 5))]


def test_a_missing_duration_is_taken_from_the_note_value() -> None:
    value = ("<type>eighth</type><dot/><time-modification><actual-notes>3</actual-notes>"
             "<normal-notes>2</normal-notes></time-modification>")
    bare = n("C4", 7, value).replace("<duration>84</duration>", "")
    assert seen(one(bare + n("D4"))) == [("C4", 0, F(1, 2)), ("D4", F(1, 2), 1)]


def test_a_bar_is_as_long_as_its_longest_content_and_an_empty_one_as_its_metre() -> None:
    metre = "<attributes><time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>"
    document = score([n("C4"), n("C4", 4), metre, n("C4", 1)],
                     [n("rest", F(1, 2)) + forth(9), n("C4", 3) + forth(1) + n("rest"), "", ""])
    bars = document.score.measures
    assert [(b.onset, b.duration) for b in bars] == [(0, 1), (1, 5), (6, F(5, 2)), (F(17, 2), 1)]
    assert (bars[1].beats, bars[2].beats, bars[2].beat_type) == (4, 5, 8)
    assert str(document.score.locate(F(17, 2))) == "bar 4, beat 1"


def test_printed_bar_numbers_are_kept() -> None:
    root = one(n("C4"), n("D4"), n("E4")).root
    for measure, number in zip(root.iter("measure"), ("0", "1", "X1"), strict=True):
        measure.set("number", number)
    score_read = read(root).score
    assert [b.number for b in score_read.measures] == ["0", "1", "X1"]
    assert [note.measure for note in score_read.notes] == [0, 1, 2]
    assert str(score_read.locate(F(2))) == "bar X1, beat 1"


# ties and duplicates

def test_ties_join_over_bars_and_voices() -> None:
    document = one(n("C4", 4, tie=">"), n("C4", 2, tie="<>", voice="2") + n("C4", 1, tie="<")
                   + n("C4", 1))
    assert seen(document) == [("C4", 0, 7), ("C4", 7, 1)]
    assert [x.id for x in document.score.notes] == ["n1", "n4"]
    tied = document.elements["n1"]
    assert [e.findtext("duration") for e in tied] == ["48", "24", "12"]
    assert len(document.elements["n4"]) == 1
    assert set(document.elements) == {"n1", "n4"}


def test_ties_in_chords_go_by_pitch_and_the_same_voice_comes_first() -> None:
    document = one(n("C4", 1, tie=">") + n("E4", 1, tie=">", chord=True) + n("E4", 1, tie="<")
                   + n("G4", 1, chord=True) + back(1) + n("C4", 1, tie="<", voice="2"))
    assert seen(document) == [("C4", 0, 2), ("E4", 0, 2), ("G4", 1, 1)]
    twins = one(n("C4", 1, tie=">") + n("C4", 1, tie="<") + back(2)
                + n("C4", 1, tie=">", voice="2") + n("C4", 2, tie="<", voice="2"))
    (note,) = twins.score.notes
    assert (note.duration, note.source_ids) == (3, ("n1", "n3"))
    assert [e.findtext("voice") for e in twins.elements["n3"]] == ["2", "2"]


def test_a_tie_backwards_in_the_document_is_found() -> None:
    document = one(n("rest", 2) + n("C4", 2, tie="<") + back(4) + n("C4", 2, tie=">", voice="2"))
    assert seen(document) == [("C4", 0, 4)]
    assert [e.findtext("voice") for e in document.elements["n2"]] == ["2", "1"]


def test_enharmonic_ties_join_and_keep_the_first_spelling() -> None:
    assert seen(one(n("G#4", 1, tie=">") + n("Ab4", 1, tie="<"))) == [("G#4", 0, 2)]


def test_broken_ties_simply_end() -> None:
    document = one(n("C4", 1, tie=">") + n("D4", 1, tie="<") + n("C4", 1, tie="<"))
    assert [x[2] for x in seen(document)] == [1, 1, 1]
    assert [("tie-only" in x.marks) for x in document.score.notes] == [False, True, True]


def test_a_tie_leaves_a_bar_that_another_part_makes_longer() -> None:
    document = score([n("C4", 3, tie=">"), n("C4", 1, tie="<")], [n("E4", 4), n("E4", 1)])
    assert seen(document)[0] == ("C4", 0, 5)


def test_a_tied_chord_note_lasts_as_long_as_its_chord() -> None:
    document = one(n("C3", 3) + n("G3", 2, chord=True, tie=">"), n("G3", 1, tie="<"))
    assert seen(document) == [("C3", 0, 3), ("G3", 0, 4)]


def test_tied_without_tie_is_a_tie_and_let_ring_a_mark() -> None:
    def tied(kind: str) -> str:
        return f'<notations><tied type="{kind}"/></notations>'

    document = one(n("C4", 1, tied("start")) + n("C4", 1, tied("stop")) + n("E4", 1,
                                                                            tied("let-ring")))
    assert seen(document) == [("C4", 0, 2), ("E4", 2, 1)]
    assert document.score.notes[1].marks == {"let-ring"}


def test_duplicates_are_joined_and_the_longest_lasts() -> None:
    accent = "<notations><articulations><accent/></articulations></notations>"
    document = one(n("C4") + back(1) + n("C4", 2, accent, voice="2", staff=2) + back(2)
                   + n("B#3", 1, voice="3"))
    note = only(document)
    assert (note.id, note.source_ids, note.duration) == ("n1", ("n1", "n2", "n3"), 2)
    assert (note.pitch.name, note.staff, note.marks) == ("C4", 1, {"accent"})
    assert list(document.elements) == ["n1", "n2", "n3"]


def test_duplicates_of_two_parts_and_graces_of_one_voice_stay_apart() -> None:
    assert len(score([n("C4")], [n("C4")]).score.notes) == 2
    assert len(one(n("C4", grace=True) + n("C4")).score.notes) == 2
    assert len(one(n("C4", grace=True) * 2 + n("D4")).score.notes) == 3


def test_a_grace_that_two_voices_have_at_one_place_is_one() -> None:
    """The last before the note with the last; a pitch that comes twice in a voice stays two."""
    two = n("E4", grace=True) + n("C4", grace=True) + n("D4")
    for other, graces in (("C4", 2), ("E4", 3), ("B3", 3)):
        document = one(two + back(1) + n(other, grace=True, voice="2") + n("F4", voice="2"))
        found = [note for note in document.score.notes if note.grace]
        assert len(found) == graces
        assert sum(len(note.source_ids) for note in found) == 3


# graces

def test_graces_lean_on_the_next_note_of_their_voice() -> None:
    document = one(n("rest") + n("D5", grace=True) + n("E5", grace=True) + n("F5", chord=True,
                   grace=True) + n("C5", 3) + back(4) + n("G3", 4, voice="2"))
    assert [(x.pitch.name, x.onset, x.duration, x.grace) for x in document.score.notes] == [
        ("G3", 0, 4, False), ("C5", 1, 3, False), ("D5", 1, 0, True), ("E5", 1, 0, True),
        ("F5", 1, 0, True)]


def test_graces_at_the_end_of_a_bar_come_at_the_end_of_the_note_before() -> None:
    document = one(n("C5", 4) + n("D5", grace=True) + back(4) + n("G3", 2, voice="2")
                   + n("A3", 2, voice="2"), n("C5", 4))
    assert [(x.pitch.name, x.onset) for x in document.score.notes if x.grace] == [
        ("D5", F(63, 16))]


# pitch

@pytest.mark.parametrize(("written", "transpose", "sounding"), [
    ("D4", "<diatonic>-1</diatonic><chromatic>-2</chromatic>", "C4"),  # clarinet in B flat
    ("F#5", "<diatonic>-2</diatonic><chromatic>-3</chromatic>", "D#5"),  # clarinet in A
    ("C4", "<diatonic>-4</diatonic><chromatic>-7</chromatic>", "F3"),  # horn in F
    ("E#4", "<diatonic>-1</diatonic><chromatic>-2</chromatic>", "D#4"),
    ("C4", "<chromatic>0</chromatic><octave-change>-1</octave-change>", "C3"),  # double bass
    ("C4", "<chromatic>-2</chromatic><octave-change>-1</octave-change><double/>", "Bb2"),
    ("Fbb4", "<diatonic>1</diatonic><chromatic>1</chromatic>", "Fb4"),  # no triple flat
    ("B##4", "<diatonic>0</diatonic><chromatic>1</chromatic>", "C##5"),  # no triple sharp
    ("Cb4", "<diatonic>2</diatonic><chromatic>3</chromatic>", "Ebb4")])
def test_transposing_parts_sound_as_spelled(written: str, transpose: str, sounding: str) -> None:
    head = f"<attributes><transpose>{transpose}</transpose></attributes>"
    note = only(one(head + n(written)))
    assert note.midi == Pitch.parse(sounding).midi
    assert note.pitch.name == sounding


def test_a_key_signature_sounds_too_and_transposition_can_end() -> None:
    head = ("<attributes><key><fifths>3</fifths></key><transpose><diatonic>-1</diatonic>"
            "<chromatic>-2</chromatic></transpose></attributes>")
    plain = ("<attributes><key><fifths>-4</fifths></key><transpose><diatonic>0</diatonic>"
             "<chromatic>0</chromatic></transpose></attributes>")
    document = one(head + n("A4"), n("A4"), plain + n("A4"))
    assert [x.pitch.name for x in document.score.notes] == ["G4", "G4", "A4"]
    assert [b.fifths for b in document.score.measures] == [1, 1, -4]
    assert Transposition.of(-1, 0, 0).key(6) == -1  # seven sharps more or five flats: fits the page


def test_transposition_of_one_staff() -> None:
    head = '<attributes><transpose number="2"><chromatic>0</chromatic><octave-change>1' \
           "</octave-change></transpose></attributes>"
    document = one(head + n("C4") + back(1) + n("C4", staff=2, voice="2"))
    assert [x.pitch.name for x in document.score.notes] == ["C4", "C5"]


# marks

def test_marks_are_read_and_those_of_the_stem_shared() -> None:
    inside = ("<notations><articulations><staccato/></articulations><arpeggiate/></notations>"
              "<notations><fermata/><ornaments><inverted-mordent/></ornaments>"
              "<technical><harmonic/><fingering>3</fingering></technical></notations>")
    document = one(n("C4", 1, inside) + n("E4", 1, chord=True) + n("G4"))
    assert [x.marks for x in document.score.notes] == [
        {"staccato", "arpeggiate", "fermata", "mordent", "inverted", "harmonic"},
        {"staccato", "fermata"},
        frozenset()]


def test_a_tied_note_keeps_the_marks_of_its_end() -> None:
    fermata = "<notations><fermata/></notations>"
    assert only(one(n("C4", tie=">"), n("C4", 1, fermata, tie="<"))).marks == {"fermata"}


# tempo

def tempo(*contents: str) -> list[tuple[F, F, str]]:
    document = one(*contents)
    return [(m.onset, m.bpm, m.origin) for m in document.score.tempo.marks]


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def metronome(units: str) -> str:
    return (f"<direction><direction-type><metronome>{units}</metronome></direction-type>"
            "</direction>")


@pytest.mark.parametrize(("sign", "bpm"), [
    ('<sound tempo="72"/>', 72),
    ('<direction><direction-type><words>Presto</words></direction-type><sound tempo="70.5"/>'
     "</direction>", F(141, 2)),
    (metronome("<beat-unit>quarter</beat-unit><per-minute>60</per-minute>"), 60),
    (metronome("<beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>60</per-minute>"), 90),
    (metronome("<beat-unit>eighth</beat-unit><per-minute>c. 100</per-minute>"), 50),
    (metronome("<beat-unit>half</beat-unit><per-minute>66-72</per-minute>"), 138)])
def test_tempo_numbers(sign: str, bpm: int) -> None:
    assert tempo(sign + n("C4", 4)) == [(0, bpm, "number")]


def test_without_number_or_word_the_tempo_is_assumed() -> None:
    assert tempo(n("C4", 4)) == [(0, 90, "assumed")]
    assert tempo('<sound tempo="0"/><sound tempo="-5"/>' + words("dolce") + n("C4")) == [
        (0, 90, "assumed")]
    assert one(n("C4")).score.tempo.assumed


def test_tempo_words_and_their_places() -> None:
    marks = tempo(words("Allegro ma non troppo, cantabile") + n("C4", 4), words("Largo") + n("C4"),
                  words("dolce e largo") + n("C4"), words("Tempo I") + n("C4"))
    assert [(m[0], m[2]) for m in marks] == [(0, "word"), (4, "word"), (6, "word")]
    assert marks[0][1] == marks[2][1] == word_tempo("allegro  non TROPPO") != word_tempo("Allegro")
    assert word_tempo("Très lent") < word_tempo("Lent") < word_tempo("Mäßig") < word_tempo("Vif")
    assert word_tempo("poco allargando") is None


@pytest.mark.parametrize(("signs", "slower"), [
    ((words("poco rit."), "", "", ""), [(0, 8)]),  # to the second bar line
    (("", "", "", words("rallentando")), [(12, 16)]),
    ((words("riten."), words("a tempo"), "", ""), [(0, 4)]),
    ((words("riten."), '<sound tempo="50"/>', "", ""), [(0, 4)]),
    ((words("cédez"), words("Largo"), words("allarg."), ""), [(0, 4), (8, 16)]),
    ((words("dolce"), words("stringendo"), words("ritmico"), words("più lento")), []),
    (('<direction><direction-type><words>rit.</words></direction-type><sound tempo="50"/>'
      "</direction>", "", "", ""), [])])  # a number says how much
def test_words_that_slow_the_music_are_kept_apart_from_its_tempo(
        signs: tuple[str, ...], slower: list[tuple[int, int]]) -> None:
    score = one(*(sign + n("C4", 4) for sign in signs)).score
    assert [(s.start, s.end) for s in score.slowing] == slower
    assert all(s.times > 1 for s in score.slowing)
    assert not score.tempo.slower


def test_where_the_tempo_gives_way_time_is_longer() -> None:
    usual = TempoMap((TempoMark(F(0), F(60)), TempoMark(F(4), F(120))))
    slower = replace(usual, slower=(Slower(F(2), F(6), F(3, 2)), Slower(F(8), F(9), F(2))))
    assert [slower.seconds(F(q)) - usual.seconds(F(q)) for q in (1, 2, 3, 4, 5, 6, 8, 9, 20)] == [
        0, 0, .5, 1, 1.25, 1.5, 1.5, 2, 2]
    assert slower.scaled(F(30)).seconds(F(20)) == 2 * slower.seconds(F(20))


@pytest.mark.parametrize("denied", ["Nicht schnell", "Nicht zu schnell", "Non troppo lento",
                                    "Pas trop vite"])
def test_a_tempo_word_that_is_denied_names_no_tempo(denied: str) -> None:
    assert word_tempo(denied) is None
    assert tempo(words(denied) + n("C4", 4)) == [(0, 90, "assumed")]
    slow = one('<sound tempo="50"/>' + words(denied) + n("C4", 4))
    assert contradicted(slow.root, F(50)) == ""
    assert word_tempo(f"Allegro moderato, {denied.lower()}") == word_tempo("Allegro moderato")


def metre(beats: int | str, beat_type: int, symbol: str = "") -> str:
    sign = f' symbol="{symbol}"' if symbol else ""
    return (f"<attributes><time{sign}><beats>{beats}</beats><beat-type>{beat_type}</beat-type>"
            "</time></attributes>")


@pytest.mark.parametrize(("signs", "word", "none"), [
    (metre(4, 4), 120, 90), (metre(3, 4), 120, 90), (metre(5, 8), 120, 90),
    (metre(2, 2), 160, 120), (metre(3, 2), 160, 120),
    (metre(4, 4, "cut"), 160, 120), (metre(4, 4, "common") + words("alla breve"), 160, 120),
    (metre(6, 8), 120, 90), (metre(3, 8), 120, 90), (metre("3+3", 8), 120, 90),
    (metre(2, 8), 80, 60)])
def test_words_and_what_is_assumed_are_of_the_beat_of_the_metre(signs, word, none) -> None:
    assert tempo(signs + n("C4", 4)) == [(0, none, "assumed")]
    assert tempo(signs + words("Allegro") + n("C4", 4)) == [(0, word, "word")]
    assert tempo(signs + '<sound tempo="77"/>' + n("C4", 4)) == [(0, 77, "number")]


def test_quavers_of_compound_metres_keep_their_pace_and_more_haste_is_never_slower() -> None:
    assert word_tempo("Andante", F(3, 2)) == word_tempo("Andante") == 76
    for beat in (F(2), F(3, 2), F(1, 2)):
        paces = [word_tempo(w, beat) for w in ("Largo", "Adagio", "Andante", "Allegretto",
                                               "Allegro", "Vivace", "Presto")]
        assert paces == sorted(paces)


def test_a_word_further_on_counts_the_beat_of_the_metre_there() -> None:
    assert tempo(words("Allegro") + n("C4", 4), metre(2, 2) + words("Allegro") + n("C4", 4),
                 n("C4", 4), words("Andante") + n("C4", 4)) == [
        (0, 120, "word"), (4, 160, "word"), (12, 102, "word")]


@pytest.mark.parametrize(("signs", "said"), [
    ("", ""), (metre(2, 2), "minim 60"), (metre(6, 8), "dotted crotchet 60"),
    (metre(2, 8), "quaver 120"), (metre(6, 8) + words("Andante"), "dotted crotchet 51")])
def test_a_tempo_is_told_in_beats(signs, said) -> None:
    assert in_beats(one(signs + n("C4", 4)).score.tempo.marks[0]) == said


def test_words_do_not_count_beside_numbers() -> None:
    assert tempo('<sound tempo="80"/>' + n("C4", 4), words("Largo") + n("C4", 4),
                 '<sound tempo="50"/>' + words("Presto") + n("C4"), words("Tempo I") + n("C4")) == [
        (0, 80, "number"), (8, 50, "number"), (9, 80, "number")]


@pytest.mark.parametrize(("signs", "bpm", "told"), [
    ('<sound tempo="120"/>' + words("Poco Adagio"), 120, "adagio (60 to 72)"),
    ('<sound tempo="120"/>' + words("Adagio"), 70, ""),
    ('<sound tempo="120"/>' + words("dolce"), 120, ""),
    (metronome("<beat-unit>quarter</beat-unit><per-minute>120</per-minute>") + words("Adagio"),
     120, ""),
    (metre(2, 2) + '<sound tempo="180"/>' + words("Allegro"), 180, ""),
    (metre(2, 2) + '<sound tempo="30"/>' + words("Allegro"), 30, "allegro (120 to 304)")])
def test_a_word_may_contradict_a_number_that_is_not_printed(signs, bpm, told) -> None:
    document = one(signs + n("C4", 4))
    assert contradicted(document.root, F(bpm), document.score.tempo.marks[0].beat) == told


def test_a_first_mark_in_the_pickup_or_bar_two_counts_from_the_start() -> None:
    assert tempo(n("C4"), '<sound tempo="60"/>' + n("C4", 4)) == [(0, 60, "number")]
    assert tempo(n("C4"), n("C4", 4), '<sound tempo="60"/>' + n("C4")) == [
        (0, 90, "assumed"), (5, 60, "number")]


def test_a_level_holds_from_where_its_offset_puts_it() -> None:
    loud = ("<direction><direction-type><dynamics><f/></dynamics></direction-type>{}</direction>")
    bar = n("C4") + loud + n("D4") + n("E4") + n("F4")
    found = {shift: [note.pitch.step for note in one(bar.format(offset)).score.notes
                     if "loud" in note.marks]
             for shift, offset in ((s, f"<offset>{12 * s}</offset>") for s in (-1, 0, 1, 2))}
    assert found == {-1: list("CDEF"), 0: list("DEF"), 1: list("EF"), 2: ["F"]}


def test_of_numbers_at_one_moment_the_printed_one_counts() -> None:
    """Programs give a heading such as "Tempo di marcia" a tempo of their own beside the mark."""
    own = ("<direction><direction-type><words>Tempo di marcia</words></direction-type>"
           '<sound tempo="120"/></direction>')
    mark = metronome("<beat-unit>quarter</beat-unit><per-minute>100</per-minute>")
    sounding = mark.replace("</direction>", '<sound tempo="99"/></direction>')
    for signs, bpm in ((own + mark, 100), (mark + own, 100), (own + sounding, 99), (own, 120)):
        assert tempo(signs + n("C4", 4)) == [(0, bpm, "number")]


def test_the_offset_of_a_sound_is_its_own() -> None:
    bar = n("C4", 4)
    for late in ('<sound tempo="60"><offset>24</offset></sound>',
                 "<direction><direction-type><words>x</words></direction-type><offset>12</offset>"
                 '<sound tempo="60"><offset>24</offset></sound></direction>'):
        marks = tempo('<sound tempo="80"/>' + bar, late + bar)
        assert marks == [(0, 80, "number"), (6, 60, "number")]


def test_an_offset_moves_a_mark_and_a_ratio_multiplies_the_tempo() -> None:
    late = ('<direction><direction-type><words>x</words></direction-type><offset>24</offset>'
            '<sound tempo="60"/></direction>')
    ratio = metronome("<beat-unit>quarter</beat-unit><beat-unit>quarter</beat-unit>"
                      "<beat-unit-dot/>")
    marks = tempo('<sound tempo="80"/>' + n("C4", 4), late + n("C4", 4), ratio + n("C4", 4))
    assert marks == [(0, 80, "number"), (6, 60, "number"), (8, 90, "number")]


# repeats

def barline(repeat: str = "", ending: str = "", kind: str = "start") -> str:
    signs = f'<ending number="{ending}" type="{kind}"/>' if ending else ""
    return f"<barline>{signs}{repeat and f'<repeat {repeat}/>'}</barline>"


FORTH, BACK = 'direction="forward"', 'direction="backward"'


def order(*contents: str) -> str:
    """Playing order of bars holding these signs, counted from 1."""
    document = one(*(content + n("C4") for content in contents))
    return " ".join(str(i + 1) for i in document.score.playing_order)


def test_repeats() -> None:
    assert order("", "", "") == "1 2 3"
    assert order("", barline(BACK), "") == "1 2 1 2 3"
    assert order("", barline(FORTH), barline(BACK), "") == "1 2 3 2 3 4"
    assert order(barline(BACK), "", barline(BACK)) == "1 1 2 3 2 3"
    assert order("", barline(BACK + ' times="3"')) == "1 2 1 2 1 2"


def test_endings() -> None:
    first, second = barline("", "1"), barline("", "2")
    assert order("", first + barline(BACK, "1", "stop"),
                 second + barline("", "2", "discontinue"), "") == "1 2 1 3 4"
    assert order("", barline("", "1, 2") + barline(BACK, "1, 2", "stop"),
                 barline("", "3") + barline("", "3", "stop"), "") == "1 2 1 2 1 3 4"
    long = order(barline(FORTH), first, barline(BACK, "1", "stop"), second,
                 barline("", "2", "stop"), barline(FORTH), barline(BACK))
    assert long == "1 2 3 1 4 5 6 7 6 7"


def test_jumps() -> None:
    assert order("", '<sound fine="yes"/>', '<sound dacapo="yes"/>', "") == "1 2 3 1 2"
    assert order("", '<sound dalsegno="a"/>', '<sound segno="a"/>') == "1 2 1 2 3"
    assert order('<sound segno="a"/>', '<sound segno="b"/>', '<sound dalsegno="b"/>', "") == \
        "1 2 3 2 3 4"
    assert order("", '<sound segno="a"/>', '<sound fine="yes"/>', '<sound dalsegno="a"/>') == \
        "1 2 3 4 2 3"
    assert order("", '<sound tocoda="c"/>', '<sound dacapo="yes"/>', '<sound coda="c"/>') == \
        "1 2 3 1 2 4"
    assert order(words("x"), words("Fine"), words("D.C. al Fine")) == "1 2 3 1 2"


def test_after_a_jump_repeats_are_left_out_and_the_last_ending_is_taken() -> None:
    assert order(barline("", "1") + barline(BACK, "1", "stop"),
                 barline("", "2") + barline("", "2", "stop"), barline(BACK),
                 '<sound dacapo="yes"/>', "") == "1 2 3 3 4 2 3 4 5"


def test_two_coda_signs_without_words() -> None:
    coda = "<direction><direction-type><coda/></direction-type></direction>"
    assert order("", coda, words("D.C. al Coda"), coda) == "1 2 3 1 2 4"


def test_any_signs_come_to_an_end() -> None:
    wild = Flow(forward=True, times=2, endings=frozenset({1, 7}), segno=True, tocoda=True,
                coda=True, dacapo=True, dalsegno=True)
    assert len(playing_order([wild] * 30)) < 1000
    assert len(playing_order([Flow(times=100)] * 30)) == 3000


def test_repeats_of_all_parts_count_once() -> None:
    repeated = barline(BACK) + n("C4")
    assert score([repeated], [repeated]).score.playing_order == (0, 0)


# the document

def test_title_parts_and_instruments() -> None:
    heads = "<work><work-title> Two\nlines </work-title></work>"
    document = score([n("C4")], heads=heads)
    assert document.score.title == "Two lines"
    assert document.score.parts[0].name == "Part 1"
    assert document.name == "test"


def test_timewise_scores_are_turned_round() -> None:
    text = f"""<score-timewise><part-list/>
        <measure number="1"><part id="A">{DIV}{n("C4")}</part>
        <part id="B">{DIV}{n("E4")}</part></measure>
        <measure number="2"><part id="A">{n("D4")}</part>
        <part id="B">{n("F4")}</part></measure></score-timewise>"""
    document = read(musicxml_tree.parse(text.encode(), "test"))
    assert [(x.part, x.pitch.name, x.onset) for x in document.score.notes] == [
        ("A", "C4", 0), ("B", "E4", 0), ("A", "D4", 1), ("B", "F4", 1)]
    assert [m.get("number") for m in document.root.iter("measure")] == ["1", "2", "1", "2"]


def test_notes_come_by_onset_then_pitch_and_reading_changes_nothing() -> None:
    document = one(n("G4") + n("C4", chord=True) + back(1) + n("E4", voice="2"))
    assert [x.pitch.name for x in document.score.notes] == ["C4", "E4", "G4"]
    assert read(document.root, "test").score == document.score


def test_errors_name_the_bar_as_printed() -> None:
    with pytest.raises(SourceError, match=r"^test: bar 2, part P1: 'X' is no step of a pitch$"):
        one(n("C4"), n("C4").replace("<step>C", "<step>X"))


# music21 as a second reader

DATA = Path(__file__).parents[2] / "shared" / "data"


def scores_of(*folders: Path) -> list[Path]:
    return sorted(path for folder in folders for kind in ("xml", "mxl", "musicxml")
                  for path in folder.glob(f"**/*.{kind}"))


def corpus() -> list[Path]:
    package = find_spec("music21")  # without its import, which takes half a second
    assert package is not None
    assert package.origin is not None
    return scores_of(Path(package.origin).parent / "corpus")


#: Where the two readers differ: (file, bar from 1) -> why, and how many notes only we, only music21
#: read there.
DIFFERENCES: dict[tuple[str, int], tuple[str, int, int]] = {
    ("PMFC_13_04-Credo Cursor.xml", 147): (
        "an editorial sharp is printed but no <alter> given: music21 sounds the sign", 1, 1)}


def differences(path: Path) -> dict[int, tuple[int, int]]:
    """Bars from 1 in which the readers differ: notes only we read, notes only music21 reads."""
    music = read(musicxml_tree.load(path), path.name).score
    struck: Counter[tuple[int, F, int]] = Counter()
    graces: Counter[tuple[int, int]] = Counter()
    for note in music.notes:
        bar = music.measures[note.measure]
        if note.grace:
            graces[bar.index, note.midi] += 1
        else:
            struck[bar.index, note.onset - bar.onset, note.midi] += len(note.source_ids)
    their_struck, their_graces = attacks(path)
    found: dict[int, tuple[int, int]] = {}
    for ours, theirs in ((struck, their_struck), (graces, their_graces)):
        for side, rest in enumerate((ours - theirs, theirs - ours)):
            for (index, *_), count in rest.items():
                both = list(found.get(index + 1, (0, 0)))
                both[side] += count
                found[index + 1] = (both[0], both[1])
    return found


def explained(path: Path) -> dict[int, tuple[int, int]]:
    return {bar: (ours, theirs) for (name, bar), (_, ours, theirs) in DIFFERENCES.items()
            if name == path.name}


def small(path: Path) -> bool:
    if path.suffix != ".mxl":
        return path.stat().st_size < 200_000
    with zipfile.ZipFile(path) as archive:
        return sum(entry.file_size for entry in archive.infolist()) < 200_000


@pytest.mark.parametrize("path", [p for p in corpus() if small(p)][::5], ids=lambda p: p.name)
def test_music21_reads_the_same_notes(path: Path) -> None:
    assert differences(path) == explained(path)


@pytest.mark.campaign
@pytest.mark.parametrize("path", corpus() + scores_of(DATA), ids=lambda p: p.name)
def test_music21_reads_the_same_notes_everywhere(path: Path) -> None:
    root = musicxml_tree.load(path)
    if not any(note.find("pitch") is not None for note in root.iter("note")):
        with pytest.raises(SourceError, match="no notes of definite pitch"):
            read(root)
    else:
        assert differences(path) == explained(path)
