"""A pedal harp part on a lever harp and back: what changes, what is lost, and that it is told."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, convert
from arranger.io.musicxml_write import serialise
from arranger.report.text import text
from tests.handwritten import attributes, backup, chord, note, part, score, words
from tests.lever_simulator import Rig, replay
from tests.score_reading import read_score
from tests.simulator import simulate
from tests.test_lever_harps import TEMPO

SETTING = {"D": 0, "C": 0, "B": -1, "E": -1, "F": 0, "G": 0, "A": -1}
DIAGRAM = "<direction><direction-type><harp-pedals>" + "".join(
    f"<pedal-tuning><pedal-step>{s}</pedal-step><pedal-alter>{a}</pedal-alter></pedal-tuning>"
    for s, a in SETTING.items()) + "</harp-pedals></direction-type></direction>"


def pedal_part() -> etree._Element:
    """Eight bars in E flat with a passing A natural, a D flat and a low bass."""
    tune = ["Eb5 G5 Bb5 G5", "F5 Ab5 C6 Ab5", "G5 Bb5 Eb6 Bb5", "F5 A5 C6 A5", "Bb5 D6 F6 D6",
            "Db6 Bb5 G5 Bb5", "Ab5 C6 Eb6 C6", "Eb6 Bb5 G5 Eb5"]
    bass = ["Eb2 Bb2", "Ab1 Eb2", "Eb2 Bb2", "F2 C3", "Bb1 F2", "Eb2 Bb2", "Ab2 Eb3", "Eb1 Eb2"]
    marks = {3: "A♮", 5: "D♭ A♭", 6: "D♮"}
    bars = []
    for at, (top, low) in enumerate(zip(tune, bass, strict=True)):
        high = "".join(note(n, 4) for n in top.split())
        down = "".join(note(n, 8, staff=2, voice=2) for n in low.split())
        bars.append((words(marks[at], 2) if at in marks else "") + high + backup(16) + down)
    bars[7] = chord("Eb6 Bb5 G5", 16) + backup(16) + chord("Eb1 Eb2", 16, staff=2, voice=2)
    return score(part(attributes(2, -3) + TEMPO.format(60) + DIAGRAM + bars[0], *bars[1:]),
                 names=("Harp",))


def made(tmp_path: Path, music: bytes, harp: str, **more: object):  # type: ignore[no-untyped-def]
    path = tmp_path / "music.musicxml"
    path.write_bytes(music)
    return convert(Request(path, harp=harp, page=False, **more))


def sounds(music: bytes) -> Counter[tuple[object, int]]:
    found = read_score(music)
    return Counter((n.onset, n.midi) for n in found.part_notes([found.part_id("Harp")]))


def test_to_a_lever_harp_and_back(tmp_path):
    source = serialise(pedal_part())
    levers = made(tmp_path, source, "lever-34")
    draft = levers.files["draft.musicxml"]
    assert b"harp-pedals" not in draft
    assert replay(draft).counts == {}
    kinds = Counter(e["kind"] for e in levers.report["ledger"] if e["fidelity"] != "same-sound")
    assert kinds["octave"] >= 2, "the bass below C2 goes up"
    changed = sounds(source) - sounds(draft)
    told = Counter((e["before"][0]["onset"], e["before"][0]["midi"])
                   for e in levers.report["ledger"] if e["fidelity"] != "same-sound")
    assert {(str(onset), midi) for onset, midi in changed} == set(told)
    assert all(e["reason"] for e in levers.report["ledger"])
    printed = text(levers.report)
    assert "octave" in printed
    back = made(tmp_path, draft, "pedal-47")
    assert simulate(back.files["draft.musicxml"]).violations == 0
    assert b"lever" not in back.files["draft.musicxml"].lower()
    assert sounds(back.files["draft.musicxml"]) == sounds(draft), "nothing more is lost"
    assert not [e for e in back.report["ledger"] if e["fidelity"] != "same-sound"]


@pytest.mark.parametrize(("harp", "rig"), [
    ("lever-22", Rig("C3", 22)), ("lever-26", None), ("lever-38-f", Rig("A1", 38, "F")),
    ("lever-36-c", Rig("C2", 36, "C"))])
def test_to_lever_harps_of_all_sizes(harp, rig, tmp_path):
    made_part = made(tmp_path, serialise(pedal_part()), harp)
    if rig is not None:
        assert replay(made_part.files["draft.musicxml"], rig=rig).counts == {}
    assert not [f for f in made_part.report["findings"] if f["code"] in ("C1", "K1")]


def test_the_best_key_loses_no_more(tmp_path):
    source = serialise(pedal_part())
    as_it_is, best = (made(tmp_path, source, "lever-36", transpose=t) for t in ("", "best"))

    def other_sounds(result) -> int:  # type: ignore[no-untyped-def]
        return sum(e["fidelity"] != "same-sound" for e in result.report["ledger"])
    assert other_sounds(best) <= other_sounds(as_it_is)
    up = made(tmp_path, source, "lever-36", transpose="12")
    assert up.report["settings"]["transpose"] == 12
    assert replay(up.files["draft.musicxml"], rig=Rig("C2", 36)).counts == {}
