"""Exact search that knows no music."""
