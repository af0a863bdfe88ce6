"""The account of a job as values and text. Pure: nothing is asked, nothing is written to disk."""
