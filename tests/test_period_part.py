"""A part written for the harp of one pedal notch tuned in E flat, judged on that harp.

The part is invented for this test: sixty bars in E flat, B flat, F and back, every change of key
made in a bar of rest. What such a harp cannot do is then planted in it, one thing a bar (Berlioz
1855, p. 83-85: compass F1 to D7, each letter raised by one semitone alone).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from arranger.api import Request, check
from arranger.io.musicxml_write import serialise
from arranger.model.pitch import STEPS, Pitch
from arranger.plan.settings import key_setting
from tests.handwritten import attributes, backup, chord, note, part, score, words

#: Fifths of each stretch of twelve bars, the last of which is silent but for the pedals.
KEYS = (-3, -2, -1, -2, -3)
#: Degrees of the bass, bar by bar, and of the tune above it, quavers.
BASS = (0, 3, 4, 0, 5, 1, 4, 0, 3, 4, 0)
TUNE = ((0, 2, 4, 7, 4, 2, 4, 2), (3, 5, 7, 5, 3, 0, 3, 5), (4, 6, 8, 6, 4, 1, 4, 6),
        (2, 4, 7, 9, 7, 4, 2, 4))


def name(fifths: int, degree: int, octave: int) -> str:
    """Pitch of a degree of the major scale, counted in strings from the tonic of an octave."""
    tonic = STEPS.index("CGDAEB"[fifths] if fifths >= 0 else "FBEAD"[-fifths - 1])
    place = 7 * octave + tonic + degree
    step = STEPS[place % 7]
    return Pitch(step, key_setting(fifths).alter(step), place // 7).name


def bars() -> list[tuple[list[str], list[str]]]:
    """Quavers of the right hand and crotchets of the left, of sixty bars."""
    made = []
    for fifths in KEYS:
        for bar, degree in enumerate(BASS):
            tune = [name(fifths, d, 4) for d in TUNE[bar % 4]]
            left = [name(fifths, degree + d, 2) for d in (0, 4, 7, 4)]
            made.append((tune, left))
        made.append((["r"] * 8, ["r"] * 4))
    return made


def judged(tmp_path: Path, music: list[tuple[list[str], list[str]]]) -> dict[str, set[str]]:
    """Codes of the errors found, by bar."""
    written = []
    for at, (tune, left) in enumerate(music):
        said = ""
        if at % 12 == 11 and at < 59:
            old, new = (key_setting(KEYS[k]) for k in (at // 12, at // 12 + 1))
            said = "".join(words(f"{s}{'♭♮♯'[new.alter(s) + 1]}", 2) for s in "CDEFGAB"
                           if old.alter(s) != new.alter(s))
        top = "".join(chord(n, 2) if n != "r" else note("r", 2) for n in tune)
        low = "".join(note(n, 4, voice=2, staff=2) for n in left)
        written.append(said + top + backup(16) + low)
    opening = "".join(f"<pedal-tuning><pedal-step>{s}</pedal-step><pedal-alter>"
                      f"{key_setting(KEYS[0]).alter(s)}</pedal-alter></pedal-tuning>"
                      for s in "DCBEFGA")
    head = ('<direction><direction-type><metronome><beat-unit>quarter</beat-unit>'
            '<per-minute>72</per-minute></metronome></direction-type><sound tempo="72"/>'
            "</direction>"
            f"<direction><direction-type><harp-pedals>{opening}</harp-pedals></direction-type>"
            "</direction>")
    root = score(part(attributes(2, -3) + head + written[0], *written[1:]), names=("Harp",))
    path = tmp_path / "period.musicxml"
    path.write_bytes(serialise(root))
    found: dict[str, set[str]] = {}
    for each in check(Request(path, harp="single-action", page=False)).report["findings"]:
        if each["severity"] == "error":
            found.setdefault(each["bar"], set()).add(each["code"])
    return found


def test_sixty_bars_within_its_means_pass_clean(tmp_path):
    assert len(bars()) == 60
    assert judged(tmp_path, bars()) == {}


#: Bar, quaver (of the right hand), what stands there instead, and the rule that says why not.
PLANTED = [
    (2, 3, "Db5", "C1"),     # the D string gives D and D sharp
    (7, 1, "Gb4", "C1"),
    (10, 5, "Cb5", "C1"),
    (14, 2, "Fb4", "C1"),
    (19, 6, "E7", "C1"),     # its top string is D7
    (26, 4, "A#4", "C1"),    # the A string gives A flat and A
    (31, 0, "F4 F#5", "S1"),  # one pedal, two positions
    (38, 3, "E#4", "C1"),
    (44, 5, "B#4", "C1"),
    (52, 7, "Db4", "C1"),
]
LOW = (56, "E1", "C1")       # its lowest string is F1


def planted(bar: int, quaver: int, instead: str) -> list[tuple[list[str], list[str]]]:
    music = bars()
    music[bar - 1][0][quaver] = instead
    return music


@pytest.mark.parametrize(("bar", "quaver", "instead", "code"), PLANTED)
def test_each_note_out_of_its_means_is_found_in_its_bar(bar, quaver, instead, code, tmp_path):
    found = judged(tmp_path, planted(bar, quaver, instead))
    assert code in found.pop(str(bar))
    assert found == {}


def test_all_of_them_at_once(tmp_path):
    music = bars()
    for bar, quaver, instead, _ in PLANTED:
        music[bar - 1][0][quaver] = instead
    music[LOW[0] - 1][1][0] = LOW[1]
    found = judged(tmp_path, music)
    assert {bar: code in found[str(bar)] for bar, *_, code in (*PLANTED, LOW)} == {
        bar: True for bar, *_ in (*PLANTED, LOW)}
    assert set(found) == {str(bar) for bar, *_ in (*PLANTED, LOW)}


def test_a_pedal_without_time_is_found(tmp_path):
    """B flat and B on neighbouring quavers of one string: the pedal cannot follow twice."""
    music = bars()
    music[5][0][2:5] = ["Bb4", "B4", "Bb4"]
    assert "6" in judged(tmp_path, music)
