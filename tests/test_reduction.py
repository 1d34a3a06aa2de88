"""Several parts become one: roles, phrases, what leaves a phrase, and what it is told for."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from arranger.checks.account import faults
from arranger.commands.converting import convert
from arranger.commands.opening import open_to_arrange, settings_of
from arranger.commands.request import Request
from arranger.io.part_choice import choose_parts
from arranger.model.ensemble import Ensemble
from arranger.model.errors import ChoiceError, RuleError
from arranger.passes import pipeline
from arranger.passes.ease import arrange_within
from arranger.passes.reduce import reduce
from arranger.passes.start import start
from arranger.plan.part_names import hint
from arranger.plan.part_roles import part_roles
from arranger.plan.phrases import phrases
from arranger.plan.repeated import too_fast
from arranger.rulebook.reduction import load_reduction
from tests.handwritten import attributes, note, part, score

RULES = load_reduction()
DRUM = ("<note><unpitched/><duration>16</duration><voice>1</voice><type>whole</type></note>")


def melody(*names: str, length: int = 4) -> str:
    return "".join(note(n, length) for n in names)


def ensemble(**lines: str) -> etree._Element:
    """A score of one-staff parts; the content of the bars is split at ``|``."""
    parts = []
    for at, text in enumerate(lines.values(), 1):
        first, *others = text.split("|")
        parts.append(part(attributes(1) + first, *others, ident=f"P{at}"))
    return score(*parts, names=tuple(n.replace("_", " ") for n in lines))


QUARTET = {"Flute": melody("G5", "A5", "B5", "C6"), "Oboe": melody("E5", "F5", "G5", "E5"),
           "Violin": melody("C4", "C4", "D4", "E4"), "Cello": melody("C3", "A2", "G2", "C3")}


def opened_of(root, tmp_path, **options):
    path = tmp_path / "score.musicxml"
    path.write_bytes(etree.tostring(root))
    request = Request(path, page=False, **options)
    opened = open_to_arrange(request)
    return request, opened, opened.arranging(settings_of(request))


def roles_of(root, tmp_path, **options):
    _, opened, made = opened_of(root, tmp_path, parts=("all",), **options)
    lines: dict[str, list] = {}
    for n in opened.document.score.part_notes(opened.part):
        for p in made.ensemble.lines[n.id]:
            lines.setdefault(p, []).append(n)
    found = part_roles(lines, made.ensemble, (), RULES)
    return {made.ensemble.names[p]: r.name for p, r in found.items()}


@pytest.mark.parametrize(("name", "word"), [
    ("Soprano", "tune"), ("Violine 1", "tune"), ("Violon I", "tune"), ("1. Geige", "tune"),
    ("Flauto", "tune"), ("Singstimme", "tune"), ("Contrebasse", "bass"), ("Fagott", "bass"),
    ("Violoncello", "bass"), ("Kontrabass", "bass"), ("Basso continuo", "bass"),
    ("Pauken", "rhythm"), ("Timbales", "rhythm"), ("Viola", ""), ("Violin II", ""),
    ("Corno di bassetto", "")])
def test_names_in_four_languages(name: str, word: str) -> None:
    assert hint(name) == word


def test_roles_by_how_parts_move(tmp_path) -> None:
    lines = QUARTET | {"Horn": melody("G3", "G3", "G3", "G3"),
                       "Clarinet": melody("G4", "A4", "B4", "C5")}
    assert roles_of(ensemble(**lines), tmp_path) == {
        "Flute": "tune", "Cello": "bass", "Oboe": "harmony", "Violin": "harmony",
        "Horn": "rhythm", "Clarinet": "doubling"}


def test_the_tune_can_be_named(tmp_path) -> None:
    _, _, made = opened_of(ensemble(**QUARTET), tmp_path, parts=("all",), tune=("Violin",))
    assert {made.ensemble.names[p] for p in made.ensemble.tune} == {"Violin"}
    path = tmp_path / "score.musicxml"
    with pytest.raises(ChoiceError, match="tune"):
        open_to_arrange(Request(path, parts=("Flute", "Cello"), tune=("Violin",)))


def test_all_takes_what_has_pitch_and_is_not_kept() -> None:
    root = ensemble(**QUARTET, Drums=DRUM)
    assert choose_parts(root, ("all",)) == ("P1", "P2", "P3", "P4")
    assert choose_parts(root, ("all",), keep=("Flute",)) == ("P2", "P3", "P4")
    assert choose_parts(root, (), keep=("Flute", "Oboe")) == ("P3", "P4")
    with pytest.raises(ChoiceError, match="--part all"):
        choose_parts(root)
    with pytest.raises(ChoiceError, match="both"):
        choose_parts(root, ("Flute",), keep=("Flute",))
    with pytest.raises(ChoiceError, match="no part is left"):
        choose_parts(root, ("all",), keep=("Flute", "Oboe", "Violin", "Cello"))


def test_drums_are_left_out_and_said(tmp_path) -> None:
    request, _, _ = opened_of(ensemble(**QUARTET, Drums=DRUM), tmp_path, parts=("all",))
    told = [f["message"] for f in convert(request).report["findings"]]
    assert any("without definite pitch of Drums (1, first in bar 1)" in line for line in told)


def test_one_part_is_given_back_as_it_is(tmp_path) -> None:
    _, opened, made = opened_of(ensemble(Flute=QUARTET["Flute"]), tmp_path)
    draft = start(opened.document.score, opened.part)
    assert reduce(draft, made) is draft


def tutti(bars: int = 2) -> etree._Element:
    """Twelve parts: three lines, each in four octaves or unisons, and a horn that repeats."""
    lines = {}
    tones = (("G", "A", "B", "G"), ("E", "F", "G", "E"), ("C", "C", "D", "C"))
    for row, names in enumerate(tones):
        for octave in (5, 4, 3, 2):
            lines[f"Part_{row}_{octave}"] = "|".join(
                [melody(*(f"{n}{octave}" for n in names))] * bars)
    return ensemble(**lines)


def test_whole_parts_leave_a_full_phrase_and_harmony_tune_and_bass_stay(tmp_path) -> None:
    _, opened, made = opened_of(tutti(), tmp_path, parts=("all",))
    before = start(opened.document.score, opened.part)
    after = reduce(before, made)
    assert not faults(after)
    by_onset: dict[Fraction, list[int]] = {}
    source: dict[Fraction, list[int]] = {}
    for table, notes in ((source, before.notes), (by_onset, after.notes)):
        for n in notes:
            table.setdefault(n.onset, []).append(n.pitch.midi)
    for onset, struck in by_onset.items():
        assert len(struck) <= 8
        assert (max(struck), min(struck)) == (max(source[onset]), min(source[onset]))
        assert {m % 12 for m in struck} == {m % 12 for m in source[onset]}
    gone = {n.id for n in before.notes} - {n.id for n in after.notes}
    parts = {p for i in gone for p in made.ensemble.lines[i]}
    for p in parts:  # what leaves, leaves for the whole phrase
        assert {i for i, owners in made.ensemble.lines.items() if owners == (p,)} <= gone
    assert all("in this phrase" in e.reason for e in after.ledger.entries)


def test_bars_that_are_alike_are_reduced_alike(tmp_path) -> None:
    _, opened, made = opened_of(tutti(4), tmp_path, parts=("all",))
    after = reduce(start(opened.document.score, opened.part), made)
    bars = [[(n.onset - 4 * bar, n.pitch, n.hand) for n in after.notes if n.source.measure == bar]
            for bar in range(4)]
    assert bars[0] == bars[1] == bars[2] == bars[3]


def test_a_line_another_player_keeps_is_not_played_twice(tmp_path) -> None:
    lines = {"Voice": QUARTET["Flute"], "Violin": QUARTET["Flute"],
             "Viola": melody("E5", "F5", "D5", "E5"), "Horn": melody("C5", "C5", "B4", "C5"),
             "Alto": melody("G4", "A4", "G4", "G4"), "Cello": QUARTET["Cello"],
             "Clarinet": melody("E4", "F4", "G4", "E4")}
    _, opened, made = opened_of(ensemble(**lines), tmp_path, keep=("Voice",), tune=("Clarinet",))
    after = reduce(start(opened.document.score, opened.part), made)
    top = [n for n in after.notes if n.pitch.name in ("G5", "A5", "B5", "C6")]
    assert opened.document.score.parts[0].name == "Voice"
    assert len(top) in (0, 4)


def test_phrases_end_where_all_rest_and_where_the_texture_changes(tmp_path) -> None:
    bar = melody("C5", "D5", "E5", "F5")
    low = melody("C3", "D3", "E3", "F3")
    root = ensemble(Flute="|".join([bar, bar, bar, note("r", 16), bar]),
                    Cello="|".join([note("r", 16), note("r", 16), low, note("r", 16), low]))
    _, opened, made = opened_of(root, tmp_path, parts=("all",))
    lines: dict[str, list] = {"P1": [], "P2": []}
    for n in opened.document.score.part_notes(opened.part):
        for p in made.ensemble.lines[n.id]:
            lines[p].append(n)
    found = phrases(lines, opened.document.score.measures, RULES)
    assert [(p.first, p.last) for p in found] == [(0, 1), (2, 2), (3, 3), (4, 4)]


def test_quick_repetitions_keep_an_even_beat(tmp_path) -> None:
    bar = "".join(note("E4", 1) for _ in range(16))
    root = ensemble(Flute=bar, Cello=note("C3", 16))
    _, opened, _ = opened_of(root, tmp_path, parts=("all",), tempo=Fraction(120))
    draft = start(opened.document.score, opened.part)
    line = [n for n in draft.notes if n.pitch.name == "E4"]
    gone = {n.id for n in too_fast(line, opened.document.score, 0.2)}
    assert [n.onset for n in line if n.id not in gone] == [Fraction(i, 2) for i in range(8)]


def test_of_an_upbeat_and_its_chord_the_chord_stays(tmp_path) -> None:
    # common practice: thin the short note before the beat, never the long one on it
    bar = note("E4", 6) + note("r", 1) + note("E4", 1) + note("E4", 8)
    root = ensemble(Flute=bar, Cello=note("C3", 16))
    _, opened, _ = opened_of(root, tmp_path, parts=("all",), tempo=Fraction(120))
    draft = start(opened.document.score, opened.part)
    line = [n for n in draft.notes if n.pitch.name == "E4"]
    assert list(too_fast(line, opened.document.score, 0.2)) == [line[1]]


def test_where_two_parts_want_one_string_at_once_the_tune_has_it(tmp_path) -> None:
    # common practice: the accompaniment makes room; its note is the longer, and on the beat
    tune = "".join(note(n, 1) for n in ("A4", "B4", "F4", "G4")) + note("A4", 12)
    root = ensemble(Violin_I="|".join([tune] * 2), Violin_II="|".join(
        [note("r", 2) + note("G4", 2) + note("E4", 12)] * 2), Cello="|".join([note("C3", 16)] * 2))
    request, *_ = opened_of(root, tmp_path, parts=("all",), tempo=Fraction(160))
    lost = [e["onset"] for e in convert(request).report["ledger"] if e["kind"] == "drop"]
    assert lost == ["1/2", "9/2"]  # the second violin's


def test_numbers_are_refused_by_name(tmp_path) -> None:
    from arranger.rulebook.files import rules_folder
    text = (rules_folder() / "reduction.toml").read_text()
    wrong = tmp_path / "reduction.toml"
    for old, new, said in (("[2, 3, 4, 6, 8]", "[4, 3, 2, 6, 8]", "ease.together"),
                           ("follows = { value = 0.8", "follows = { value = -1", "roles.follows"),
                           ("leads =", "leeds =", "leeds")):
        assert old in text
        wrong.write_text(text.replace(old, new))
        with pytest.raises(RuleError, match=said):
            load_reduction(wrong)


LINES = st.lists(st.lists(st.sampled_from(["C4", "E4", "G4", "A4", "C5", "D5", "F#5", "Bb3", "G3",
                                           "C3", "r"]), min_size=8, max_size=8),
                 min_size=2, max_size=6)


@settings(max_examples=8, deadline=None)
@given(LINES)
def test_easier_drafts_are_nested_and_closed(tmp_path_factory, rows) -> None:
    if all(n == "r" for n in rows[0]):
        rows[0][0] = "C5"
    if all(n == "r" for n in rows[1]):
        rows[1][0] = "C3"
    root = ensemble(**{f"Part_{i}": melody(*row, length=2) for i, row in enumerate(rows)})
    _, opened, made = opened_of(root, tmp_path_factory.mktemp("ease"), parts=("all",))
    levels = [arrange_within(opened.document.score, opened.part, made, ease)
              for ease in (1, 2, 3, 4, 5, 0)]
    sounds = [{(n.onset, n.pitch.pitch_class) for n in d.notes} for d in levels]
    for easier, harder in pairwise(sounds):
        assert easier <= harder
    for level, draft in enumerate(levels[:5], 1):
        assert not faults(draft)
        struck: dict[Fraction, int] = {}
        for n in draft.notes:
            struck[n.onset] = struck.get(n.onset, 0) + 1
        assert max(struck.values()) <= RULES.budget(level).together
    with pytest.raises(ChoiceError, match="ease"):
        arrange_within(opened.document.score, opened.part, made, 6)


def test_an_unknown_line_has_no_say() -> None:
    assert part_roles({}, Ensemble({}, {}), (), RULES) == {}


def held(names: str, bars: int) -> str:
    """A chord held over some bars; its members are tied."""
    made = []
    for bar in range(bars):
        tie = "start" if bar == 0 else "stop" if bar == bars - 1 else "stop start"
        made.append("".join(note(n, 16, chord=at > 0, tie=tie)
                            for at, n in enumerate(names.split())))
    return "|".join(made)


def test_a_held_chord_is_struck_again_when_its_strings_are_silent(tmp_path) -> None:
    root = ensemble(Flute=held("G5", 4), Violin=held("C5 E5", 4))
    request, _, _ = opened_of(root, tmp_path, parts=("all",), tempo=Fraction(60))
    result = convert(request)
    strokes = [(e["bar"], e["after"][0]["name"]) for e in result.report["ledger"]
               if e["kind"] == "restrike"]
    assert strokes == [(bar, name) for bar in "234" for name in ("C5", "E5", "G5")]
    assert all(e["before"] == [] for e in result.report["ledger"] if e["kind"] == "restrike")
    assert len(result.report["notes"]) == 12


def test_low_and_quick_notes_are_left_to_ring(tmp_path) -> None:
    request, _, _ = opened_of(ensemble(Flute=held("C2", 2), Cello=held("E2", 2)), tmp_path,
                              parts=("all",), tempo=Fraction(120))
    assert len(convert(request).report["notes"]) == 2


def test_under_moving_parts_only_what_leads_is_struck_again(tmp_path) -> None:
    moving = "|".join([melody("E4", "F4", "E4", "D4")] * 2)
    root = ensemble(Flute=held("G5", 2), Violin=held("C5", 2), Viola=moving, Cello=held("C4", 2))
    request, _, _ = opened_of(root, tmp_path, parts=("all",), tempo=Fraction(40))
    strokes = {e["after"][0]["name"] for e in convert(request).report["ledger"]
               if e["kind"] == "restrike"}
    assert strokes == {"G5", "C4"}


def test_a_bar_that_only_resting_parts_make_longer_keeps_its_length(tmp_path) -> None:
    long = note("r", 16) + note("r", 16)
    root = ensemble(Flute=long + "|" + long, Oboe=long + "|" + long,
                    Cello=melody("C3", "D3", "E3", "F3") + "|" + melody("C3", "D3", "E3", "F3"))
    request, opened, _ = opened_of(root, tmp_path, parts=("all",))
    assert [m.duration for m in opened.document.score.measures] == [8, 8]
    assert [n["onset"] for n in convert(request).report["notes"]] == [
        str(n) for n in (0, 1, 2, 3, 8, 9, 10, 11)]


def test_what_is_kept_for_the_looks_is_made_at_their_own_prices(monkeypatch, tmp_path):
    """The first look at several parts pays less for the other hand; later ones ask it nothing."""
    asked: dict[int, set[bool]] = {}
    plain = pipeline._once

    def once(score, part, settings, progress, recall):
        kept.append(recall)  # so that no two have one address
        asked.setdefault(id(recall._common), set()).add(settings.ensemble is None)
        return plain(score, part, settings, progress, recall)

    kept: list[object] = []
    monkeypatch.setattr(pipeline, "_once", once)
    path = tmp_path / "quartet.musicxml"
    path.write_bytes(etree.tostring(ensemble(**QUARTET)))
    convert(Request(path, ("all",), page=False))
    assert sorted(map(len, asked.values())) == [1] * len(asked)
    assert set.union(*asked.values()) == {True, False}
