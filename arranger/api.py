"""The commands as plain functions. Nothing is written unless all of it can be written."""

from __future__ import annotations

from arranger.commands.checking import check
from arranger.commands.choosing import options
from arranger.commands.converting import convert, keys_of
from arranger.commands.marking import pedals
from arranger.commands.request import Progress, Request, Result, SelfCheckError
from arranger.commands.seating import ensemble
from arranger.commands.surveying import Survey, survey
from arranger.commands.tuning import settings_for

__all__ = ["Progress", "Request", "Result", "SelfCheckError", "Survey", "check", "convert",
           "ensemble", "keys_of", "options", "pedals", "settings_for", "survey"]
