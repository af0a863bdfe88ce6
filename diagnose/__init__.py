"""Find out why a motorcycle will not start, in the cheapest order."""

__version__ = "0.4.3"
