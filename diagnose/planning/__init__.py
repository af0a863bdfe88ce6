"""Which step is cheapest next, and what is left to spend: numbers in, numbers out."""
