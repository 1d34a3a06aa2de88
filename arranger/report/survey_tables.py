"""A survey for machines: CSV for spreadsheets, JSON lines for programs; a line a score."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from typing import Any

Row = Mapping[str, Any]
#: Columns of the CSV, in order; the JSON lines hold the same names.
COLUMNS = ("file", "suits", "kept", "lost", "changed", "moves_per_bar", "moves", "tempo",
           "tempo_assumed", "ceiling", "ceiling_bars", "limit", "hardest", "hardest_why",
           "best_key", "best_semitones", "lever_fit", "lever_keys", "bars", "notes", "errors",
           "parts", "harp", "sha256", "refused")


def as_csv(rows: Sequence[Row]) -> bytes:
    """Return the table as CSV (RFC 4180) in UTF-8."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(COLUMNS)
    table.writerows([_cell(row.get(name)) for name in COLUMNS] for row in rows)
    return out.getvalue().encode("utf-8", errors="replace")


def as_lines(rows: Sequence[Row]) -> bytes:
    """Return the table as JSON lines."""
    return "".join(json.dumps({n: row[n] for n in COLUMNS if n in row}) + "\n"
                   for row in rows).encode()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(map(str, value))
    text = str(value)
    # a spreadsheet takes these for a formula
    return f"'{text}" if isinstance(value, str) and text[:1] in "=+-@\t\r" and text else text
