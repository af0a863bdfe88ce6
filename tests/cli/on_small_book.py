"""Runs the command line on the small book of the interviews: python on_small_book.py ARGUMENTS."""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import diagnose.reading.files as files  # noqa: E402
from diagnose.__main__ import main  # noqa: E402

if __name__ == "__main__":  # not where the tests are only collected: all others want the shipped book
    files.shipped_folder = lambda: ROOT / "tests" / "interviews" / "small"
    sys.exit(main())
