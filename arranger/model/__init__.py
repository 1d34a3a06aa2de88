"""Frozen values: pitch, harp, score, draft, edit, ledger, diagnostic."""
