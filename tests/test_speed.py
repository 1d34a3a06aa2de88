"""Benchmarks of every stage: ``pytest -m speed`` (needs pytest-benchmark; left out otherwise).

Each test also holds what the stage must give, so that a quick wrong answer is no success.
"""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace

import pytest

from arranger.api import Request, check, convert, options
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.part_choice import choose_parts
from arranger.io.proofreading import proofs
from arranger.io.source import open_source
from arranger.passes.pipeline import arrange
from arranger.passes.start import start
from arranger.plan.pedal_path import pedal_path
from arranger.report.html import drawn_for
from arranger.report.html import page as page_of_drawn
from arranger.report.part_pdf import part_pdf
from arranger.search.positions import cheapest
from tests.benchmark_growth import SCORE, tiled
from tests.benchmark_pieces import SETTINGS, spelled_ways, synthetic_score
from tests.strategies import KINDS, long_piece

pytest.importorskip("pytest_benchmark")
pytestmark = pytest.mark.speed
BARS = 100


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    """A hundred bars, read, arranged and written."""
    path = tmp_path_factory.mktemp("speed") / "long.musicxml"
    path.write_bytes(tiled(SCORE, BARS))
    root = open_source(path)
    part = as_harp_part(root, choose_parts(root))
    document = read(part.root, str(path))
    result = convert(Request(path, page=False))
    return SimpleNamespace(path=path, root=root, part=part, document=document, result=result,
                           xml=result.files["draft.musicxml"],
                           draft=start(document.score, part.part_id))


def test_opening(benchmark, long):
    assert len(benchmark(open_source, long.path).find("part")) == BARS


def test_harp_part(benchmark, long):
    assert benchmark(as_harp_part, long.root, choose_parts(long.root)).part_id


def test_reading(benchmark, long):
    assert len(benchmark(read, long.part.root, "long").score.measures) == BARS


def test_writing(benchmark, long):
    assert benchmark(write, long.document, long.draft).count(b"<measure ") == BARS


def test_proofreading(benchmark, long):
    *_, proof = benchmark(proofs, long.xml).values()
    assert len(proof.notes) >= len(long.result.report["notes"])


@pytest.mark.parametrize("kind", KINDS)
def test_search_over_200_nodes(benchmark, kind):
    piece = long_piece(1, 200, kind)
    assert benchmark(cheapest, piece.nodes, piece.gaps, piece.movers) == cheapest(
        piece.nodes, piece.gaps, piece.movers)


def test_pedal_path_of_1000_slices(benchmark):
    parts, ways, ends = spelled_ways(synthetic_score())
    path = benchmark.pedantic(pedal_path, (parts, ways, ends, SETTINGS.player, SETTINGS.prices),
                              rounds=3)
    assert path.total >= 0


def test_arranging_200_slices(benchmark):
    score = synthetic_score(200)
    found = benchmark.pedantic(arrange, (score, "P1", SETTINGS), rounds=3)
    assert found.draft.bound <= found.draft.total


def test_convert_without_page(benchmark, long):
    found = benchmark.pedantic(convert, (Request(long.path, page=False),), rounds=3)
    assert found.files == long.result.files


def test_page(benchmark, long):
    def made() -> str:
        return page_of_drawn(long.result.report, drawn_for(long.result.report, long.xml))
    assert 'class="engraving"' in benchmark.pedantic(made, rounds=3)


def test_part_on_paper(benchmark, long):
    printed = benchmark.pedantic(part_pdf, (long.result.report, long.xml), rounds=3)
    assert printed.startswith(b"%PDF")


def test_check(benchmark, long):
    found = benchmark.pedantic(check, (Request(long.path, page=False),), rounds=3)
    assert found.report["summary"]["chords"] > BARS


def test_options_in_four_bars(benchmark, long):
    asked = Request(long.path, tempo=Fraction(120), bars="9-12", page=False)
    assert benchmark.pedantic(options, (asked,), rounds=1).report["spots"]
