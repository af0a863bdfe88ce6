"""The door: run a command, and turn every way it can end into an exit code and one plain message."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from diagnose import __version__
from diagnose.cli.group import diagnose
from diagnose.problems import DiagnoseError
from diagnose.terminal.asking.asker import NeedsAnswer

DONE, MENDABLE, USAGE, OUR_BUG, NO_ANSWER, INTERRUPTED = 0, 1, 2, 3, 4, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    stdout = sys.stdout
    for stream in (stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code = diagnose.main(args=arguments, prog_name="diagnose", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else DONE
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except NeedsAnswer as error:
        return _said(error, NO_ANSWER)
    except DiagnoseError as error:
        return _said(error, MENDABLE)
    except (KeyboardInterrupt, click.Abort):
        print("Stopped.", file=sys.stderr)
        return INTERRUPTED
    except SystemExit as leaving:
        silenced = sys.stdout is not stdout  # click has met a closed pipe
        return DONE if silenced or not isinstance(leaving.code, int) else leaving.code
    except BrokenPipeError:
        return _pipe_closed()
    except Exception as error:
        return _our_bug(error)


def _said(error: Exception, code: int) -> int:
    print(f"diagnose: {error}", file=sys.stderr)
    return code


def _pipe_closed() -> int:
    """Return success: whoever read our output has had enough. Nothing may be written there any more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def _our_bug(error: Exception) -> int:
    """Write the whole error to a file; say where, with what to send along."""
    import platform
    import traceback
    from datetime import datetime
    from pathlib import Path
    from tempfile import gettempdir

    text = "".join(traceback.format_exception(error))
    versions = f"diagnose {__version__}, Python {platform.python_version()}, {platform.system()}"
    try:
        from diagnose.records import data_folder

        folder = data_folder() / "log"
        folder.mkdir(exist_ok=True)
    except Exception:
        folder = Path(gettempdir())
    path = folder / f"error-{datetime.now():%y%m%d-%H%M%S}.txt"
    try:
        path.write_text(f"{versions}\n{' '.join(sys.argv[1:])}\n\n{text}", encoding="utf-8", errors="replace")
        where = f"Written to {path}; send that file along with what you did."
    except OSError:
        where = "It could not be written to a file."
    says = f"this is a mistake in the program, not yours ({type(error).__name__}). What you answered is kept."
    print(f"diagnose: {says}\n{versions}. {where}", file=sys.stderr)
    return OUR_BUG


def run() -> NoReturn:
    """Run the command line and leave with its exit code."""
    sys.exit(main())


if __name__ == "__main__":
    run()
