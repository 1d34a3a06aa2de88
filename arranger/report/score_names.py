"""What a score is called and who wrote it, from its titles or from what its first page prints."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from arranger.rulebook.score_words import Heading, heading

_SUFFIX = re.compile(r"\.(?:musicxml|mxl|xml|midi?|mei|krn|abc)$", re.I)
#: What programs put where nothing was filled in.
_EMPTY = {"", "title", "untitled", "untitled score", "composer", "composer / arranger",
          "music21", "music21 fragment"}


@dataclass(frozen=True, slots=True)
class Credit:
    """A text on the first page: its kind if told, the side it stands on, its size in points."""

    text: str
    kind: str
    side: str
    size: float


def names_of(root: ET.Element) -> tuple[Heading, str]:
    """Return heading and composer of a score; each is empty where nothing tells it.

    A title that is the name of a file gives way to one that is printed.
    """
    credits = tuple(_credits(root))
    told = [_filled(root.findtext(path)) for path in ("work/work-title", "movement-title")]
    titles = ["" if _SUFFIX.search(text) else text for text in told]
    if not any(titles):
        titles = [_title(credits), ""]
    if not any(titles):
        titles = [_SUFFIX.sub("", text) for text in told]
    written = (_filled(c.text) for c in root.iterfind("identification/creator")
               if c.get("type", "composer").strip().lower() == "composer")
    return heading(*titles), next(filter(None, written), "") or _composer(credits)


def _title(credits: tuple[Credit, ...]) -> str:
    """Return what is named as title, or the largest text centred at the top."""
    named = [credit.text for credit in credits if credit.kind == "title"]
    centred = [credit for credit in credits if not credit.kind and credit.side == "center"]
    largest = max(centred, key=lambda credit: credit.size, default=None)
    return named[0] if named else largest.text if largest else ""


def _composer(credits: tuple[Credit, ...]) -> str:
    """Return who is named as composer, or what stands at the top on the right."""
    named = [credit.text for credit in credits if credit.kind == "composer"]
    right = [credit.text for credit in credits if not credit.kind and credit.side == "right"
             and not credit.text.isdecimal()]
    return next(iter((*named, *right)), "")


def _credits(root: ET.Element) -> Iterator[Credit]:
    """Give the texts of the first page, without those of no kind in its lower half."""
    high = _number(root.findtext("defaults/page-layout/page-height"))
    for credit in root.iterfind("credit"):
        words = credit.findall("credit-words")
        text = _filled(" ".join(word.text or "" for word in words))
        kind = (credit.findtext("credit-type") or "").strip().lower()
        if credit.get("page", "1").strip() != "1" or not text:
            continue
        first = words[0]
        height = _number(first.get("default-y"))
        if kind or not high or height is None or height > high / 2:
            yield Credit(text, kind, first.get("justify", first.get("halign", "left")),
                         max(_number(word.get("font-size")) or 0.0 for word in words))


def _filled(text: str | None) -> str:
    """Return a text on one line, nothing for what a program fills in."""
    line = " ".join((text or "").split())
    return "" if line.lower() in _EMPTY else line


def _number(text: str | None) -> float | None:
    try:
        return float(text or "")
    except ValueError:
        return None
