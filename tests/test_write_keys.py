"""The key signature follows the strings, kept parts keep theirs."""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.write_keys import alter_in, signatures
from arranger.model.pitch import STEPS, Pitch
from arranger.plan.settings import key_setting
from tests.handwritten import attributes, backup, note, part, piano, score
from tests.schema import validate
from tests.writing import checked, document_of, draft_of, written

SHARPS = ("B4", "C#5", "D#5", "E5", "F#5", "G#5", "A#5", "B5")
FLATS = ("Cb5", "Db5", "Eb5", "Fb5", "Gb5", "Ab5", "Bb5", "Cb6")
TWIN = dict(zip(SHARPS, FLATS, strict=True))


def bar(names: tuple[str, ...] = SHARPS) -> str:
    return "".join(note(n, 2) for n in names) + backup(16) + note("r", 16, voice=5, staff=2)


def keys(harp: etree._Element) -> list[tuple[str, str]]:
    return [(m.get("number"), k.findtext("fifths")) for m in harp.findall("measure")
            for k in m.findall("attributes/key")]


def signs(harp: etree._Element) -> list[str]:
    return [a.text for a in harp.iter("accidental")]


def test_letters_under_a_signature():
    for fifths in range(-7, 8):
        assert {s: alter_in(fifths, s) for s in STEPS} == {
            s: key_setting(fifths).alter(s) for s in STEPS}
    assert [alter_in(9, s) for s in "FCG"] == [2, 2, 1]


def test_b_major_on_the_flat_strings_has_seven_flats_and_no_accidentals():
    harp = written(piano(bar(), bar(), bar(), fifths=5), pitch=TWIN)
    assert keys(harp) == [("1", "-7")]
    assert signs(harp) == []


def test_a_few_respelled_notes_leave_the_signature_alone():
    harp = written(piano(bar(), bar(), bar(), fifths=5), pitch={"A#5": "Bb5", "D#5": "Eb5"})
    assert keys(harp) == [("1", "5")]
    assert signs(harp)[:3] == ["flat", "natural", "flat"]  # E flat, E, B flat


def test_a_section_is_resigned_where_that_pays_and_signed_back():
    root = piano(*[bar()] * 24, fifths=5)
    late = {f"{sharp}@{4 * m + Fraction(i, 2)}": flat for m in range(4, 20)
            for i, (sharp, flat) in enumerate(TWIN.items())}
    harp = written(root, pitch=late)
    assert keys(harp) == [("1", "5"), ("5", "-7"), ("21", "5")]
    assert signs(harp) == []


def test_a_signature_that_no_longer_changes_goes():
    second = "<attributes><key><fifths>-7</fifths></key></attributes>" + bar(FLATS)
    harp = written(piano(bar(), second, fifths=5), pitch=TWIN)
    assert keys(harp) == [("1", "-7")]


def test_what_is_written_is_its_own_answer():
    document = document_of(piano(bar(), bar(), fifths=5))
    draft = draft_of(document, pitch=TWIN)
    assert signatures(draft) == (-7, -7)
    again = document_of(etree.fromstring(write(document, draft)))
    assert signatures(draft_of(again)) == (-7, -7)
    assert {n.pitch for n in again.score.notes} == {Pitch.parse(n) for n in FLATS}


def test_kept_parts_keep_their_signature_and_the_layout_can_stay():
    voice = part(attributes(1, fifths=5) + note("B4", 16), ident="P1")
    harp = part(attributes(2, fifths=5) + bar(), ident="P2")
    made = as_harp_part(score(voice, harp, names=("Voice", "Piano")), ("P2",))
    document = read(made.root)
    draft = draft_of(document, "P2", pitch=TWIN)
    out = write(document, draft)
    assert validate(out) == []
    assert [f.text for f in etree.fromstring(out).iter("fifths")] == ["5", "-7"]
    kept = checked(document, draft, layout=False)
    assert keys(kept) == [("1", "5")]


def test_a_signature_of_single_letters_stays():
    root = piano(bar(), fifths=5)
    key = root.find(".//key")
    key.remove(key.find("fifths"))
    for single in ("<key-step>F</key-step>", "<key-alter>1</key-alter>"):
        key.append(etree.fromstring(single))
    harp = written(root, pitch=TWIN)
    assert harp.find(".//key/key-step").text == "F"
