"""The interview at the keyboard and its screens."""
