"""What the words of a score are taken for, and how it is headed."""

from __future__ import annotations

import io

import pytest

from arranger.report.page_score import read_written
from arranger.report.part_pdf import part_pdf
from arranger.rulebook.score_words import Heading, heading, is_tempo
from tests.sample_report import sample_draft, sample_report

pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed; it comes with the dev extra")


@pytest.mark.parametrize(("work", "movement", "headed"), [
    ("Seven Songs of the Fen", "Heron", Heading("Heron", above="Seven Songs of the Fen")),
    ("Sonata", "Allegro ma non troppo.", Heading("Sonata", below="Allegro ma non troppo.")),
    ("Fen Songs", "A Piacere", Heading("A Piacere", above="Fen Songs")),
    ("A  Study", "a study", Heading("A Study")),
    ("Sonata", None, Heading("Sonata")),
    (" ", "Heron", Heading("Heron")),
    (None, None, Heading())])
def test_a_piece_is_headed_by_its_own_name(work, movement, headed):
    assert heading(work, movement) == headed


def test_page_and_print_have_the_same_title():
    draft = sample_draft().replace(b"</work>", b"</work><movement-title>Heron</movement-title>")
    assert read_written(draft).title == "Heron"
    first = pypdf.PdfReader(io.BytesIO(part_pdf(sample_report(), draft))).pages[0].extract_text()
    work = read_written(sample_draft()).title
    assert first.index(work) < first.index("Heron")


@pytest.mark.parametrize(("said", "times"), [("Lento.", 1), ("Lento, molto cantabile", 1),
                                            ("dolce", 2)])
def test_a_tempo_for_a_name_is_printed_once(said, times):
    """It heads the music where that says it, else the piece; what else is said makes no odds."""
    draft = sample_draft().replace(b"</work>", b"</work><movement-title>Lento</movement-title>")
    at = draft.index(b"<note", draft.index(b"<measure"))
    draft = (draft[:at] + b"<direction><direction-type><words>" + said.encode()
             + b"</words></direction-type></direction>" + draft[at:])
    first = pypdf.PdfReader(io.BytesIO(part_pdf(sample_report(), draft))).pages[0].extract_text()
    assert first.count("Lento") + first.count("dolce") == times


@pytest.mark.parametrize("text", ["Più adagio", "[Allegro]", "molto rit.", "Im Zeitmaß", "Tempo",
                                  "1º tempo", "Tempo primo", "Mouvt", "Au mouvement.",
                                  "calando", "colla voce", "a piacere", "L’istesso tempo",
                                  "allmählich lebhafter", "peu à peu animé", "(tempo)"])
def test_tempi_and_their_changes_are_known(text):
    assert is_tempo(text)


@pytest.mark.parametrize("text", ["dolce", "Heron", "spirited", "Reprise", "molto espr.",
                                  "tempo fugge", "Suivez-moi", "sung freely"])
def test_other_words_are_no_tempo(text):
    assert not is_tempo(text)
