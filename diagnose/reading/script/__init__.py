"""Scripted jobs: a whole job in one YAML file, read into events; every mistake with its place."""

from diagnose.reading.script.job import SOMETHING_ELSE, Script, read_script

__all__ = ["SOMETHING_ELSE", "Script", "read_script"]
