"""Stages from source to draft, one a module."""
