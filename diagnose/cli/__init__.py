"""The commands: each parses, calls one thing below, prints, and returns an exit code."""
