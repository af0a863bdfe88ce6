"""Putting a question: the interface, the plain form, the form for files, the terminal."""
