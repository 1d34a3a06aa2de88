"""A bound on the memory of a process that works on files of others."""

from __future__ import annotations


def limit_memory(most: int) -> None:
    """Let this process have ``most`` bytes of address space, where the system can say so."""
    try:
        import resource  # not on every system
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
