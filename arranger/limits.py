"""Bounds on a process that works on files of others."""

from __future__ import annotations


def limit_memory(most: int) -> None:
    """Let this process have ``most`` bytes of address space, where the system can say so."""
    _limit("RLIMIT_AS", most)


def limit_time(seconds: int) -> None:
    """Let this process have so many seconds of processor time, then it is ended."""
    _limit("RLIMIT_CPU", seconds)


def _limit(name: str, most: int) -> None:
    """Set a limit; a lower one that is there already stays."""
    try:
        import resource  # not on every system
    except ImportError:
        return
    what = getattr(resource, name)
    there = resource.getrlimit(what)[1]
    least = most if there == resource.RLIM_INFINITY else min(most, there)
    resource.setrlimit(what, (least, least))
