"""A part with its pedals and findings written in: the composer's file, only added to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from lxml import etree

from arranger.io import musicxml_tree
from arranger.io.mark_part import COLOURS, LONGEST, mark_part, short
from arranger.io.musicxml_read import read
from arranger.io.part_choice import choose_parts
from arranger.io.part_marks import read_marks
from arranger.io.xml_inserts import Text
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft, HarpNote, PedalMove, PedalPlan
from arranger.model.harp import HarpString, PedalSetting
from arranger.model.marks import PartMarks
from arranger.passes.inspect import inspect
from arranger.passes.part_plan import planned
from arranger.passes.sections import sections
from arranger.passes.settings import Settings
from tests.checking import FILES, JUDGE, case_of
from tests.handwritten import attributes, backup, note, words

HEAD = ('<?xml version="1.0" encoding="UTF-8"?>\n<!-- by hand -->\n<score-partwise version="3.1">'
        "<part-list><score-part id='P1'><part-name >Harp &amp; co</part-name></score-part>"
        '</part-list><part id="P1">')
BASS = backup(16) + note("C2", 16, voice=5, staff=2)
BAR = "F4 A4 F#4 A4"
MOVES = ((Fraction(1), "F", 0, 1), (Fraction(4), "F", 1, 0), (Fraction(5), "F", 0, 1))


def text_of(*bars: str) -> bytes:
    measures = "".join(f'\n  <measure number="{i}">{attributes() if i == 1 else ""}{bar}{BASS}'
                       "</measure>" for i, bar in enumerate(bars, 1))
    return (HEAD + measures + "\n</part></score-partwise>").encode()


def bar(names: str) -> str:
    return "".join(words(n[1:]) if n.startswith("!") else note(n) for n in names.split())


def marked(text: bytes, moves: tuple[tuple[Fraction, str, int, int], ...] = MOVES,
           opening: str = "", **more: object) -> tuple[bytes, PartMarks, Draft]:
    """Mark a plan into a small part; give the text, the marks read from it, and the draft."""
    document = read(musicxml_tree.parse(text, "test"))
    notes = tuple(HarpNote(n, n.pitch) for n in document.score.part_notes("P1"))
    plan = PedalPlan(PedalSetting.parse(opening),
                     tuple(PedalMove(o, float(o) / 2, p, b, a) for o, p, b, a in moves))
    draft = Draft(document.score, "P1", notes, plan)
    if "fixed" in more:
        draft = replace(draft, plan=replace(plan, fixed=more.pop("fixed")))  # type: ignore[arg-type]
    out = mark_part(text, document, draft, read_marks(document.root, "P1").pedals,
                    **more)  # type: ignore[arg-type]
    return out, read_marks(musicxml_tree.parse(out, "marked"), "P1"), draft


def alters(found: PartMarks) -> list[tuple[Fraction, dict[str, int]]]:
    return [(m.onset, dict(m.alters)) for m in found.pedals]


def is_added_to(original: bytes, out: bytes) -> bool:
    """Every byte of the original stands in the other, in order."""
    rest = iter(out)
    return all(byte in rest for byte in original)


def test_the_plan_is_read_back_and_every_byte_stays() -> None:
    text = text_of(bar(BAR), bar(BAR))
    out, found, _ = marked(text)
    setting = dict.fromkeys("DCBEFGA", 0)
    assert alters(found) == [(Fraction(0), setting), *((o, {p: a}) for o, p, _, a in MOVES)]
    assert is_added_to(text, out)
    assert b"<part-name >Harp &amp; co" in out
    assert not is_added_to(text.replace(b"co<", b"no<"), out)
    assert marked(out)[0] == out  # what is marked is not marked again
    assert b'<staff>2</staff></direction>' in out


def test_a_right_mark_of_the_composer_stays_alone() -> None:
    text = text_of(bar("F4 A4 !F♯ F#4 A4"), bar("F4 A4 !F# F#4 A4"))
    _, found, _ = marked(text)
    assert alters(found)[1:] == [(Fraction(2), {"F": 1}), (Fraction(4), {"F": 0}),
                                 (Fraction(6), {"F": 1})]


@pytest.mark.parametrize("names", ["F4 A4 F#4 !F♯ A4", "!F♯ F4 A4 F#4 A4", "F4 A4 !F♭ F#4 A4"])
def test_a_late_early_or_wrong_mark_does_not_serve(names: str) -> None:
    _, found, _ = marked(text_of(bar(names), bar(BAR)))
    assert (Fraction(1), {"F": 1}) in alters(found) or (Fraction(2), {"F": 1}) in alters(found)
    assert len(alters(found)) == 1 + len(MOVES) + 1


def diagram(**positions: int) -> str:
    tuned = "".join(f"<pedal-tuning><pedal-step>{p}</pedal-step><pedal-alter>{positions.get(p, 0)}"
                    "</pedal-alter></pedal-tuning>" for p in "DCBEFGA")
    return ("<direction><direction-type><harp-pedals>" + tuned
            + "</harp-pedals></direction-type></direction>")


def test_the_composers_opening_stays_and_is_only_set_right() -> None:
    _, found, _ = marked(text_of(diagram(D=1) + bar(BAR), bar(BAR)))
    assert [len(a) for _, a in alters(found)] == [7, 1, 1, 1]  # D sharp is used by no note
    _, found, _ = marked(text_of(diagram(A=1) + bar(BAR), bar(BAR)))
    assert (Fraction(1), {"F": 1, "A": 0}) in alters(found)


def test_a_later_setting_shows_what_the_marks_say() -> None:
    _, found, _ = marked(text_of(diagram(D=1) + bar(BAR), bar(BAR)),
                         diagrams_at=(Fraction(4), Fraction(6)))
    assert alters(found)[-1] == (Fraction(6), {"D": 1, "C": 0, "B": 0, "E": 0, "F": 1, "G": 0,
                                               "A": 0})


@pytest.mark.parametrize(("pedals", "sizes"), [
    ("all", [7, 1, 1, 7, 1]), ("changes", [7, 1, 1, 1]), ("diagrams", [7, 7]), ("none", [])])
def test_what_is_printed_can_be_chosen(pedals: str, sizes: list[int]) -> None:
    _, found, _ = marked(text_of(bar(BAR), bar(BAR)), diagrams_at=(Fraction(4),), pedals=pedals)
    assert sorted(len(a) for _, a in alters(found)) == sorted(sizes)


def test_moves_off_the_notes_two_notches_and_strings_tuned_by_hand() -> None:
    moves = ((Fraction(1, 3), "F", -1, 1), (Fraction(5, 2), "F", 1, -1))
    text = text_of(bar("Fb4 F#4 F#4 Fb4"))
    out, found, _ = marked(text, moves, "Fb", fixed={HarpString(7): -1})
    assert [o for o, _ in alters(found)][2] == Fraction(5, 2)
    assert abs(alters(found)[1][0] - Fraction(1, 3)) < Fraction(1, 10**6)
    told = out.decode()
    assert told.count("boxed: two notches") == 1
    assert told.count('enclosure="rectangle"') == 2
    assert "tune low C to C♭" in told
    assert marked(out, moves, "Fb", fixed={HarpString(7): -1})[0] == out


def finding(document_text: bytes, severity: str, message: str, onset: int, *names: str,
            staff: int = 1) -> Diagnostic:
    score = read(musicxml_tree.parse(document_text, "t")).score
    ids = tuple(n.id for n in score.notes if n.pitch.name in names and n.onset == onset)
    return Diagnostic("P1", "x", severity, message, score.locate(Fraction(onset)),  # type: ignore[arg-type]
                      ids, "P1", (), staff)


def test_findings_are_words_and_coloured_heads() -> None:
    text = text_of(bar(BAR), bar(BAR))
    found = [finding(text, "warning", "too <quick> & odd; more of it", 2, "F#4", "A4"),
             finding(text, "error", "no way", 2, "F#4"), finding(text, "advice", "low", 0, "C2",
                                                                 staff=2)]
    out, _, _ = marked(text, findings=found, pedals="none")
    assert is_added_to(text, out)
    root = etree.fromstring(out)
    said = {w.text: (w.get("color"), w.getparent().getparent().findtext("staff"))  # type: ignore[union-attr]
            for w in root.iter("words")}
    assert said == {"too <quick> & odd": (COLOURS["warning"], "1"),
                    "no way": (COLOURS["error"], "1"), "low": (COLOURS["advice"], "2")}
    heads = [(n.findtext("pitch/step"), n.find("notehead").get("color"))  # type: ignore[union-attr]
             for n in root.iter("note") if n.find("notehead") is not None]
    assert heads == [("F", COLOURS["error"]), ("C", COLOURS["advice"])]
    assert marked(out, findings=found, pedals="none")[0] == out


def test_long_sentences_are_cut_at_a_word() -> None:
    assert short("one; two") == "one"
    cut = short("word " * 40)
    assert len(cut) <= LONGEST + 2
    assert cut.endswith("word …")


def test_lines_and_indents_of_the_file_are_kept() -> None:
    text = text_of(bar(BAR), bar(BAR)).replace(b"<note>", b"\r\n\t<note>")
    out, _, _ = marked(text)
    assert b"\r\n\t<direction placement=\"below\">\r\n\t  <direction-type>" in out
    assert is_added_to(text, out)


def test_a_changed_tree_is_refused_and_none_writes_the_tree() -> None:
    text = text_of(bar(BAR), bar(BAR))
    root = musicxml_tree.parse(text, "test")
    etree.SubElement(root, "credit")
    with pytest.raises(ValueError, match="not the one"):
        Text(text, root)
    document = read(root)
    notes = tuple(HarpNote(n, n.pitch) for n in document.score.notes)
    out = mark_part(None, document, Draft(document.score, "P1", notes), ())
    assert etree.fromstring(out).find("credit") is not None
    assert out.count(b"<harp-pedals>") == 1


def test_text_of_a_file_in_another_encoding(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    text = text_of(bar(BAR)).replace(b"co<", "cö<".encode())
    path.write_bytes(text)
    assert musicxml_tree.text_of(path) == text
    path.write_bytes(text.decode().replace("UTF-8", "ISO-8859-1").encode("latin-1"))
    assert musicxml_tree.text_of(path) == text
    path.write_bytes(text.replace(b"score-partwise", b"score-timewise"))
    assert musicxml_tree.text_of(path) is None


# real harp parts

SETTINGS = Settings(JUDGE.harp, JUDGE.player, JUDGE.prices)


@cache
def real(path: Path) -> tuple[bytes, bytes, Draft, str]:
    text = musicxml_tree.text_of(path)
    assert text is not None
    root = musicxml_tree.load(path)
    (part,) = choose_parts(root, harp_first=True)
    document = read(root, path.name, (part,))
    case = case_of(document, part)
    found = inspect(case, {})
    draft = planned(case, found, SETTINGS)
    out = mark_part(text, document, draft, case.marks.pedals, findings=found.findings,
                    diagrams_at=sections(draft))
    return text, out, draft, part


def additions(old: etree._Element, new: etree._Element) -> Iterator[etree._Element]:
    """Elements of the new tree that the old one lacks; colours are taken off as they are met."""
    rest = list(new)
    for child in old:
        while rest[0].tag != child.tag or not _alike(child, rest[0]):
            yield rest.pop(0)
        yield from additions(child, rest.pop(0))
    yield from rest


def _alike(old: etree._Element, new: etree._Element) -> bool:
    if old.tag == "notehead" and "color" not in old.attrib:
        new.attrib.pop("color", None)
    if old.tag == "direction":
        return etree.tostring(old, method="c14n") == etree.tostring(new, method="c14n")
    return True


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_real_parts_differ_only_in_what_was_added(path: Path) -> None:
    text, out, _, _ = real(path)
    old, new = etree.fromstring(text), etree.fromstring(out)
    added = list(additions(old, new))
    assert {e.tag for e in added} <= {"direction", "notehead"}
    assert added
    for each in added:
        each.getparent().remove(each)  # type: ignore[union-attr]
    assert etree.tostring(new, method="c14n") == etree.tostring(old, method="c14n")
    assert is_added_to(text, out)


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_marks_of_real_parts_read_back_as_the_plan(path: Path) -> None:
    _, out, draft, part = real(path)
    root = musicxml_tree.parse(out, "marked")
    marks = read_marks(root, part)
    opening = next(m for m in marks.pedals if m.full)
    assert dict(opening.alters) == dict(zip("DCBEFGA", draft.plan.opening.alters, strict=True))
    read_back = sorted((m.onset, p, a) for m in marks.pedals if not m.full
                       for p, a in m.alters.items())
    meant = sorted((m.onset, m.pedal, m.after) for m in draft.plan.moves)
    assert [r[1:] for r in read_back] == [m[1:] for m in meant]
    assert all(abs(r[0] - m[0]) < Fraction(1, 1000)
               for r, m in zip(read_back, meant, strict=True))
    for mark in (m for m in marks.pedals if m.full):
        assert dict(mark.alters) == dict(zip("DCBEFGA", draft.plan.at(mark.onset).alters,
                                             strict=True))


def opens_elsewhere(path: Path) -> None:
    import music21
    import verovio
    text, out, _, _ = real(path)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(out.decode())
    assert "<svg" in toolkit.renderToSVG(1)

    def heard(content: bytes) -> list[tuple[float, tuple[str, ...]]]:
        score = music21.converter.parseData(content.decode(), format="musicxml")
        return [(float(n.getOffsetInHierarchy(score)), tuple(p.nameWithOctave for p in n.pitches))
                for n in score.recurse().notes]
    assert heard(out) == heard(text) != []


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", FILES[:2], ids=lambda p: p.stem[-40:])
def test_two_other_readers_open_it(path: Path) -> None:
    opens_elsewhere(path)


@pytest.mark.campaign
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_two_other_readers_open_all(path: Path) -> None:
    opens_elsewhere(path)
