"""The commands as plain functions. Nothing is written unless all of it can be written.

A ``Request`` says what is asked for. Errors meant for a user are ``ArrangerError``: their text is
one line that tells what is wrong, where, and what to do.
"""

from __future__ import annotations

from arranger.commands.checking import check
from arranger.commands.choosing import options
from arranger.commands.comparing import compare
from arranger.commands.converting import convert, keys_of
from arranger.commands.marking import pedals
from arranger.commands.request import Progress, Request, Result, SelfCheckError
from arranger.commands.seating import ensemble
from arranger.commands.surveying import Survey, survey
from arranger.commands.tuning import settings_for
from arranger.model.errors import ArrangerError

__all__ = ["ArrangerError", "Progress", "Request", "Result", "SelfCheckError", "Survey", "check",
           "compare", "convert", "ensemble", "keys_of", "options", "pedals", "settings_for",
           "survey"]
