"""What to offer where there is a choice."""
