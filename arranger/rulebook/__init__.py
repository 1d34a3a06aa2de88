"""What is true of the harp, loaded from rules/."""
