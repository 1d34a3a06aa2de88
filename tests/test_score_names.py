"""A score is called by its titles, else by what its first page prints; so is its composer."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from arranger.report.page_score import read_written
from arranger.report.part_pdf import _names
from arranger.report.score_names import names_of
from tests.sample_report import sample_report

PAGE = "<defaults><page-layout><page-height>1600</page-height></page-layout></defaults>"


def credit(text: str, kind: str = "", *, page: int = 1, justify: str = "center", y: int = 1500,
           size: int = 12) -> str:
    told = f"<credit-type>{kind}</credit-type>" if kind else ""
    return (f'<credit page="{page}">{told}<credit-words justify="{justify}" default-y="{y}" '
            f'font-size="{size}">{text}</credit-words></credit>')


def names(*elements: str) -> tuple[str, str]:
    found, composer = names_of(ET.fromstring(
        f"<score-partwise>{''.join(elements)}<part/></score-partwise>"))
    return found.title, composer


@pytest.mark.parametrize(("told", "title"), [
    ("<movement-title>tune07.3.mxl</movement-title>", "tune07.3"),
    ("<work><work-title>Reel.MusicXML</work-title></work>", "Reel"),
    ("<movement-title>Op. 3 No. 2</movement-title>", "Op. 3 No. 2"),
    ("<movement-title>Untitled score</movement-title>", "")])
def test_a_file_name_loses_its_suffix(told, title):
    assert names(told) == (title, "")


def test_the_credits_tell_what_is_missing():
    assert names(credit("A. Nonymous", "composer", justify="right"),
                 credit("Low Tide", "title")) == ("Low Tide", "A. Nonymous")
    assert names("<movement-title>tide.mxl</movement-title>",
                 "<identification><creator type='composer'> </creator></identification>",
                 credit("Low Tide", "title")) == ("Low Tide", "")
    assert names("<movement-title>High Tide</movement-title>",
                 "<identification><creator type='composer'>B.</creator></identification>",
                 credit("Low Tide", "title"), credit("A.", "composer")) == ("High Tide", "B.")


def test_without_a_kind_the_place_on_the_first_page_tells():
    page = (PAGE, credit("1", justify="right"), credit("from the hills", size=10),
            credit("Low Tide", size=22), credit("words: C.", justify="left"),
            credit("A. Nonymous", justify="right"), credit("All rights", y=60, size=30),
            credit("30 May", y=60, justify="right"), credit("Tide 2", page=2, size=40))
    assert names(*page) == ("Low Tide", "A. Nonymous")
    assert names(PAGE, credit("30 May", y=60, justify="right")) == ("", "")


def test_print_and_page_are_headed_so():
    xml = ("<score-partwise><movement-title>tide.mxl</movement-title>"
           + credit("A. Nonymous", "composer") + '<part id="P1"/></score-partwise>').encode()
    found, author = _names(xml, sample_report())
    assert (found.title, author) == ("tide", "A. Nonymous")
    assert read_written(xml).title == "tide"
