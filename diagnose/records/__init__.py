"""Jobs on disk: one SQLite file, append-only events, backups. Nothing outside this room knows of SQLite."""

from diagnose.records.backups import restore
from diagnose.records.folder import data_folder
from diagnose.records.jobs import JobLine, Store, open_store
from diagnose.records.sheets import KeptSheet, Sheets

__all__ = ["JobLine", "KeptSheet", "Sheets", "Store", "data_folder", "open_store", "restore"]
