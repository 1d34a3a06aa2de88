"""What the name of a part says about its place in the music, in four languages."""

from __future__ import annotations

import re

#: Names of voices and instruments that carry the tune, the bass or the beat, in English, German,
#: French and Italian (common practice).
_TUNE = re.compile(
    r"\bsopran|\bdessus|\bcanto\b|\bcantus|\bdiscant|\bdiskant|\bmelod|\bvoice\b|\bvoix|\bvoce|"
    r"\bgesang|\bsing|\bsolo|\bviol(?:in[oe]?|on)s?\s*(?:1|i\b|primo)|\bvl?n?\.?\s*(1|i)\b|"
    r"\b(1|i|first|erste|premier)\.?\s*(violin|violon|geige)|\bgeige\s*(1|i)\b|"
    r"\bflute|\bfl[öo]te|\bfl[ûu]te|\bflauto|\bviolino\s*principale|\btreble", re.IGNORECASE)
_BASS = re.compile(
    r"\bbass(?!et|oon)|\bbasso\b|\bbasse\b|\bbassus|\bcontra|\bkontra|\bcontre|\bdouble\s*bass|"
    r"\b(violon)?cell|\bviolone|\bcontinuo|\bfagott|\bbassoon|\bbasson|\btuba|\bpedal",
    re.IGNORECASE)
_RHYTHM = re.compile(
    r"\btimpan|\bpauken?|\btimbales|\bdrum|\btrommel|\btambour|\bbecken|\bcymbal|\bpiatti|"
    r"\btriang|\bschlag|\bpercuss|\bbatteri|\bcassa", re.IGNORECASE)


def hint(name: str) -> str:
    """Return ``tune``, ``bass``, ``rhythm`` or nothing for the name of a part."""
    for word, pattern in (("rhythm", _RHYTHM), ("bass", _BASS), ("tune", _TUNE)):
        if pattern.search(name):
            return word
    return ""
