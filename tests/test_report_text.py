"""The terminal summary."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.model.score import Location
from arranger.report.text import MOST_TOLD, text
from arranger.report.wording import (
    KINDS,
    WIDTH,
    bars,
    beat_words,
    by_kind,
    entailed,
    key_words,
    kind_words,
    message,
    note_label,
    place,
    plain,
    settings_words,
    tuning_words,
    verdict,
)
from tests.sample_report import sample_report


def at(*numbers: int) -> list[dict]:
    return [{"bar": str(n), "bar_index": n, "onset": str(4 * n)} for n in numbers]


def test_first_line_says_where_it_needs_you():
    assert text(sample_report()).splitlines()[0] == "mill.musicxml: the draft needs you at bar 2."


def test_first_line_of_a_clean_draft():
    assert text(sample_report(errors=False)).splitlines()[0] == (
        "mill.musicxml: the draft is ready to try; no bar of it is beyond the harp.")


def test_whole_summary():
    assert text(sample_report()) == """\
mill.musicxml: the draft needs you at bar 2.
Made for concert pedal harp, 47 strings, C1 to G7; an average adult hand;
crotchet 90 at the start.

Alterations: 5, in a draft of 8 notes
    1 left out                   bar 1
    1 other note of the harmony  bar 1
    1 an octave higher           bar 2
    1 other string               bar 1
    1 other hand                 bar 2

Pedals
  start with  D C B♭ | E♭ F G A♭
  moves       3, 1 of two notches; most in bar 1 (2)

Cannot be played: 1
  bar 2, beat 1  F natural and F sharp cannot sound together.
Against the idiom: 1
    1 wide span (H2)  bar 1

A draft is a proposal; it is settled when a harpist has played it.
"""


def test_nothing_to_say():
    report = {**sample_report(), "ledger": [], "findings": []}
    report["pedals"]["moves"] = []
    said = text(report)
    assert "Alterations: none; the source can be played as it is written." in said
    assert "Findings: none." in said
    assert "  moves       none\n" in said


def test_a_second_harp_is_thought_of_where_much_is_lost():
    report = sample_report()
    lost = next(e for e in report["ledger"] if e["kind"] == "drop")
    dense = {**report, "notes": report["notes"] * 40}
    assert "--harps 2" not in text(dense)
    crowded = {**dense, "ledger": report["ledger"] + [lost] * (len(dense["notes"]) // 10 + 10)}
    assert "Two harps may keep more: arranger ensemble --harps 2" in text(crowded)


def test_a_check_has_no_alterations():
    report = sample_report()
    del report["ledger"]
    said = text(report)
    assert said.startswith("mill.musicxml: not to be played as written: bar 2.")
    assert "Alterations" not in said


def test_a_lever_harp_has_no_pedals():
    report = sample_report()
    del report["pedals"]
    assert "Pedals" not in text(report)


def test_many_errors_are_counted():
    report = sample_report()
    error = next(f for f in report["findings"] if f["severity"] == "error")
    report["findings"] = [error] * (MOST_TOLD + 3)
    assert "  and 3 more, all listed in the report\n" in text(report)


@given(st.text(max_size=300), st.text(max_size=300))
def test_lines_stay_short_and_printable(name, words):
    report = sample_report()
    report["source"]["file"] = name
    report["findings"][0]["message"] = words
    report["findings"][0]["severity"] = "error"
    report["ledger"][0]["bar"] = words
    for line in text(report).splitlines():
        assert len(line) <= WIDTH
        assert line.isprintable()


def test_escape_sequences_do_not_reach_the_terminal():
    report = sample_report()
    report["source"]["file"] = "a\x1b[31mred\u202e\nb.xml"
    assert text(report).startswith("a?[31mred? b.xml: ")


@pytest.mark.parametrize(("numbers", "said"), [
    ((3,), "bar 3"),
    ((0,), "upbeat"),
    ((0, 1, 2), "upbeat, bars 1-2"),
    ((0, 4), "upbeat, bar 4"),
    ((3, 3, 3), "bar 3"),
    ((3, 4), "bars 3-4"),
    ((9, 3, 4, 5), "bars 3-5, 9"),
    (range(1, 30, 2), "bars 1, 3, 5, 7, 9, 11, 13, 15, 17, 19, and 5 more places"),
])
def test_bars(numbers, said):
    assert bars(at(*numbers)) == said


def test_bars_with_repeated_numbers_are_not_joined():
    one, other = at(1)[0], {"bar": "1", "bar_index": 20, "onset": "80"}
    assert bars([one, other]) == "bars 1, 1"


def test_bars_without_an_index():
    assert bars([{"bar": "X1", "onset": "0"}, {"bar": "2", "onset": "4"},
                 {"bar": "3", "onset": "8"}]) == "bars X1, 2-3"


def test_every_kind_has_words_and_keeps_its_order():
    ledger = [{"kind": k, "onset": "0", "before": [], "after": []} for k in reversed(KINDS)]
    assert [words for words, _ in by_kind(ledger)] == list(KINDS.values())


@pytest.mark.parametrize(("before", "after", "said"), [
    (60, 72, "an octave higher"), (60, 48, "an octave lower"), (36, 60, "2 octaves higher")])
def test_octaves(before, after, said):
    assert kind_words({"kind": "octave", "before": [{"midi": before}],
                       "after": [{"midi": after}]}) == said


@pytest.mark.parametrize(("beat", "said"), [
    ("3", "3"), ("5/2", "2½"), ("13/3", "4⅓"), ("9/8", "1⅛"), ("7/4", "1¾"),
    ("2711/672", "4, just after"), ("59/20", "3, just before"), ("33/20", "1½ or so")])
def test_beats(beat, said):
    assert beat_words(beat) == said


def test_labels():
    assert note_label("Cb5") == "C♭5"
    assert note_label("Bbb3") == "B♭♭3"
    assert note_label("<b>") == "<b>"


def test_message_loses_the_place_it_opens_with():
    said = {"message": "bar 14, beat 5½: one foot moves E♮"}
    assert message(said) == "one foot moves E♮"
    assert message({"message": "bar 14 is too long: cut it"}) == "bar 14 is too long: cut it"


def test_settings():
    assert settings_words({"tempo": "90", "tempo_assumed": True, "harp": "lever-34",
                           "player": "student", "transpose": -2, "fingering": "hints",
                           "pedals": "all"}) == (
        "lever harp of 34 strings, C2 to A6, tuned in E flat; a student: an octave, slower feet, "
        "more time for the hands; crotchet 90 (assumed) at the start; transposed by -2 semitones; "
        "fingering hints")
    assert settings_words({"harp": "my/own-harp.toml"}) == "my/own-harp.toml"
    assert settings_words({"tempo": "120", "tempo_assumed": True, "tempo_from": "assumed",
                           "tempo_beat": "minim 60"}) == (
        "crotchet 120 (assumed: minim 60) at the start")
    assert settings_words({"tempo": "160", "tempo_from": "word", "tempo_beat": "minim 80"}) == (
        "crotchet 160 (from its tempo word: minim 80) at the start")


def test_tuning_of_the_low_strings():
    assert tuning_words({"tuned": {"C1": -1, "D1": 1}}) == (
        "Before the start tune by hand: C♭1, D♯1.")
    assert tuning_words({}) == ""
    report = sample_report()
    report["pedals"]["tuned"] = {"C1": -1}
    assert "  Before the start tune by hand: C♭1.\n" in text(report)


def test_verdict_lists_every_place_once():
    report = sample_report()
    error = next(f for f in report["findings"] if f["severity"] == "error")
    report["findings"] = [{**error, **place} for place in at(7, 8, 12)]
    assert verdict(report) == "the draft needs you at bars 7-8, 12."


def test_plain():
    assert plain("a\tb\u0000c𝄫") == "a b?c♭♭"


def _finding(code: str, bar: int, severity: str = "warning") -> dict:
    return {"code": code, "name": "x", "severity": severity, "message": "x", "beat": "1",
            "bar": str(bar), "bar_index": bar, "onset": str(4 * bar)}


def test_first_line_names_bars_with_busy_feet_and_changed_voices():
    report = {"ledger": [], "bars": [{}] * 40, "findings": [
        _finding("P3", 7), _finding("P2", 7), _finding("P3", 9), _finding("T4", 12)]}
    assert verdict(report) == (
        "the draft is ready to try; no bar of it is beyond the harp. Look first at bar 12: tune "
        "or bass. Busy feet at bar 7.")


def test_first_line_tells_what_a_harp_part_loses():
    gone = {"kind": "drop", "bar": "7", "bar_index": 7, "onset": "28"}
    report = {"ledger": [gone, {**gone, "bar": "9", "bar_index": 9}], "bars": [{}] * 40,
              "findings": [], "settings": {"part_is_harp": True}}
    assert verdict(report) == "2 notes of your part left out: bars 7, 9."
    assert verdict({**report, "settings": {}}).startswith("the draft is ready")


def test_first_line_says_when_a_piece_resists():
    findings = [_finding("H2", 1, "error"), *(_finding("T4", n) for n in (2, 3, 5))]
    report = {"ledger": [], "bars": [{}] * 12, "findings": findings}
    assert verdict(report) == (
        "the draft needs you at bar 1. It resists the harp: 4 of 12 bars cannot be "
        "played or lose notes of tune or bass. Look next at bars 2-3, 5: tune or bass.")
    assert "resists" not in verdict({**report, "bars": [{}] * 13})


def test_what_a_choice_entails_is_one_sentence_or_a_list():
    assert entailed([]) == ("", "")
    assert entailed(["bar 3: no pedal F♯"]) == ("then bar 3: no pedal F♯", "")
    said, rows = entailed(["bar 3: no pedal F♯", "bar 5: A4 < B4"])
    assert said == "changes 2 bars, 3 to 5"
    assert rows == "<ul><li>bar 3: no pedal F♯</li><li>bar 5: A4 &lt; B4</li></ul>"


def test_the_upbeat_is_called_by_its_name():
    entry = {"bar": "0", "bar_index": 1, "beat": "1", "onset": "0", "message": ""}
    assert place(entry) == str(Location("0", 1, Fraction(1), Fraction(0))) == "upbeat, beat 1"
    assert message({"message": "upbeat, beat 1: C4 is wanted"}) == "C4 is wanted"


def test_first_line_says_how_slow_it_is_comfortable():
    thrice = [{**_finding("H6", bar), "onset": "0"} for bar in (9, 10, 12)]
    hurried = [{**_finding("P1", 7), "limit": 96}, _finding("R4", 20),
               {**_finding("H6", 9, "advice"), "limit": 84, "places": thrice}]
    report = {"ledger": [], "bars": [{}] * 40, "findings": hurried}
    assert verdict(report) == (
        "the draft is ready to try; no bar of it is beyond the harp. At this tempo 4 bars ask for "
        "more than is comfortable: comfortable up to crotchet = 84 (bar 9 is the hardest).")
    assert verdict({**report, "settings": {"tempo_assumed": True}, "findings": hurried[:1]}) == (
        "the draft is ready to try; no bar of it is beyond the harp. At the assumed tempo bar 7 "
        "asks for more than is comfortable: comfortable up to crotchet = 96.")
    ringing = {**_finding("P2", 5), "limit": 26}  # heard, not felt
    assert verdict({**report, "findings": [ringing, *hurried]}) == verdict(report)
    slow = {**_finding("R1", 3), "limit": 40}
    tempi = [{"onset": "0", "bpm": "50"}, {"onset": "20", "bpm": "120"}]
    assert verdict({**report, "findings": [slow, *hurried], "tempo": tempi}).endswith(
        "At this tempo 5 bars ask for more than is comfortable: comfortable at 70 % of it (bar 9, "
        "up to crotchet = 84, is the hardest).")
    beyond = {**_finding("P1", 7, "error"), "limit": 60}
    assert verdict({**report, "findings": [beyond, hurried[0]]}) == "the draft needs you at bar 7."


def test_where_no_key_is_free_of_lever_changes_it_is_said_so():
    assert key_words({"keys": []}) == "every key within a fourth needs lever changes"
