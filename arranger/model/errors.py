"""Exceptions: unreadable input, unclear choices, a bad rule file. One line each."""

from __future__ import annotations


class ArrangerError(Exception):
    """Base of all errors meant for the user; ``exit_status`` as in the README.

    The message is kept to one line that a terminal can show, whatever a file has in its names.
    """

    exit_status = 3

    def __init__(self, message: str) -> None:
        super().__init__("".join(c if c.isprintable() else " " if c.isspace() else "\ufffd"
                                 for c in message))


class SourceError(ArrangerError):
    """SOURCE or an output path cannot be used. Names the file and, where known, the bar."""


class ChoiceError(ArrangerError):
    """An option, a part name or a choices file cannot be used."""

    exit_status = 2


class RuleError(ArrangerError):
    """A file in rules/ is wrong. Names the file and the key."""

    exit_status = 2
