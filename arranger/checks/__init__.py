"""What makes a draft unplayable, one family a module."""
