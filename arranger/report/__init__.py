"""Views of a draft: text, JSON, a page."""
