"""An arranging assistant for the harp."""
