"""The tempo, without which nothing that depends on seconds can be judged."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic


def no_tempo(case: Case) -> Iterator[Diagnostic]:
    """V1: the part does not say how fast it goes."""
    if case.attacks and not case.known_tempo(case.attacks[0].onset) and not case.entry:
        yield case.say("V1", "advice", f"no tempo is given: feet and hands are judged at crotchet "
                       f"= {case.bpm(case.attacks[0].onset):.0f}, and no further than a warning",
                       onset=case.attacks[0].onset)


CHECKS = {"V1": no_tempo}
