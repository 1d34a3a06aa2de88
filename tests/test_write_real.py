"""Unchanged and random drafts of real scores, written and read back."""

from __future__ import annotations

import random
import re
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from arranger.io.document import Document
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import load
from arranger.io.musicxml_write import write
from arranger.io.part_choice import choose_parts
from arranger.model.draft import Draft, HarpNote, PedalMove, PedalPlan
from arranger.model.harp import PEDALS, PedalSetting, spellings
from tests.schema import validate
from tests.writing import HAND, document_of, draft_of, heard, loose_beams, planned

DATA = Path(__file__).parents[2] / "shared" / "data"


# real scores

def _files(*patterns: str) -> list[Path]:
    return sorted(f for p in patterns for f in DATA.glob(p))


SAMPLE = _files("piano/*.mxl")[::6] + _files("harp/*.mxl")[:1] + _files("ensemble/sq_sq7070781*")


def _real(path: Path) -> tuple[Document, str]:
    root = load(path)
    ids = (tuple(p.get("id", "") for p in root.findall("part")) if "sq_" in path.name
           else choose_parts(root))
    made = as_harp_part(root, ids)
    return read(made.root, path.name), made.part_id


def _random_draft(document: Document, part_id: str, seed: int) -> Draft:
    """Drop, repitch and hand over notes at random; pedals move at random times."""
    dice = random.Random(seed)
    taken: set[tuple[Fraction, int]] = set()
    notes = []
    for n in document.score.part_notes(part_id):
        if dice.random() < 0.25:
            continue
        pitch, hand = n.pitch, HAND[n.staff]
        if dice.random() < 0.2:
            pitch = dice.choice([*spellings(n.midi), *spellings(n.midi + 12),
                                 *spellings(n.midi - 1)])
        if dice.random() < 0.25:
            hand = "L" if hand == "R" else "R"
        if not n.grace and (n.onset, pitch.midi) in taken:
            continue
        taken.add((n.onset, pitch.midi))
        notes.append(HarpNote(n, pitch, hand, dice.choice([None, 1, 2, 3, 4]),
                              dice.random() < 0.1))
    setting, moves = PedalSetting(), []
    last = int(notes[-1].onset)
    for at in sorted({Fraction(dice.randrange(0, 7 * last + 1), dice.choice([1, 2, 7]))
                      for _ in range(20)}):
        pedal = dice.choice(PEDALS)
        to = dice.choice([a for a in (-1, 0, 1) if a != setting.alter(pedal)])
        if at <= last:
            moves.append(PedalMove(at, 0.0, pedal, setting.alter(pedal), to))
            setting = setting.with_pedal(pedal, to)
    return Draft(document.score, part_id, tuple(notes), PedalPlan(moves=tuple(moves)))


def _other_parts(root: etree._Element, part_id: str) -> list[bytes]:
    found = []
    for p in root.findall("part"):
        if p.get("id") != part_id:
            etree.indent(p)
            found.append(etree.tostring(p, method="c14n", with_tail=False))
    return found


@pytest.mark.parametrize("path", SAMPLE, ids=lambda p: p.stem[:24])
def test_an_unchanged_draft_of_a_real_score_reads_back(path):
    document, part_id = _real(path)
    draft = draft_of(document, part_id)
    out = write(document, draft)
    assert validate(out) == []
    root = etree.fromstring(out)
    again = read(root)
    assert heard(again, part_id) == planned(draft)
    assert Counter((n.onset, n.midi, n.duration, n.part) for n in again.score.notes) == Counter(
        (n.onset, n.midi, n.duration, n.part) for n in document.score.notes)
    assert _other_parts(root, part_id) == _other_parts(document.root, part_id)


@pytest.mark.parametrize("path", SAMPLE, ids=lambda p: p.stem[:24])
def test_a_random_draft_of_a_real_score_reads_back(path):
    document, part_id = _real(path)
    draft = _random_draft(document, part_id, seed=len(path.name))
    out = write(document, draft)
    assert write(document, draft) == out
    assert validate(out) == []
    root = etree.fromstring(out)
    assert heard(read(root), part_id) == planned(draft)
    before = loose_beams(document.root.findall("part")[-1])
    assert set(loose_beams(root.findall("part")[-1])) <= set(before)


@pytest.mark.parametrize("path", SAMPLE[::3], ids=lambda p: p.stem[:24])
def test_a_written_draft_is_stable(path):
    """Read, made a harp part and written again, a draft is the same but for the running ids."""
    document, part_id = _real(path)
    draft = _random_draft(document, part_id, seed=3)
    first = write(document, draft)
    again = document_of(etree.fromstring(first), (part_id,))
    planned: dict[tuple[object, ...], list[HarpNote]] = {}
    for n in draft.notes:
        planned.setdefault((n.onset, n.pitch, n.hand, n.source.grace), []).append(n)
    notes = []
    for n in again.score.part_notes(part_id):
        twin = planned[n.onset, n.pitch, HAND[n.staff], n.grace].pop(0)
        notes.append(HarpNote(n, n.pitch, twin.hand, twin.finger, twin.rolled))
    second = write(again, Draft(again.score, part_id, tuple(notes), draft.plan))
    ids = re.compile(rb' id="n\d+"')
    assert ids.sub(b"", second) == ids.sub(b"", first)


@pytest.mark.skipif(not SAMPLE, reason="no scores beside the project")
def test_drafts_are_engraved():
    verovio = pytest.importorskip("verovio")
    verovio.enableLog(verovio.LOG_OFF)
    engraver = verovio.toolkit()
    for path in SAMPLE[:3]:
        document, part_id = _real(path)
        draft = _random_draft(document, part_id, seed=1)
        assert engraver.loadData(write(document, draft).decode())
        assert engraver.getPageCount() > 0
        drawn = "".join(engraver.renderToSVG(i + 1) for i in range(engraver.getPageCount()))
        missing = [n.id for n in draft.notes if f'id="{n.id}"' not in drawn]
        assert missing == []


@pytest.mark.campaign
@pytest.mark.parametrize("path", _files("piano/*.mxl", "harp/*.mxl", "ensemble/sq_*.mxl"),
                         ids=lambda p: p.stem[:24])
@pytest.mark.parametrize("seed", [1, 2])
def test_random_drafts_of_all_scores(path, seed):
    document, part_id = _real(path)
    draft = _random_draft(document, part_id, seed)
    out = write(document, draft)
    assert validate(out) == []
    assert heard(read(etree.fromstring(out)), part_id) == planned(draft)
