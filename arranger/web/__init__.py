"""The workbench: a local page to lay a score on, choose, see, hear and take the part home."""
