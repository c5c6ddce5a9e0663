"""Room 10: what was done at the cell, kept so that a later change of it shows."""

from ringout.records.changes import Again, Change, Changes, changes_of
from ringout.records.database import default_path, hide_password
from ringout.records.evidence import RunStep, Snapshot, live_steps, run_steps, snapshot_of
from ringout.records.export import export_csv
from ringout.records.folder import CellEntry, cells_in
from ringout.records.model import (
    Entry,
    Head,
    Photo,
    Reading,
    Remark,
    Run,
    RunState,
    StepState,
    StoreError,
    UnclearReadingError,
)
from ringout.records.paper import paper_record
from ringout.records.store import Store, find_store, kept_as, name_of, open_store
from ringout.records.understand import Read, read_reading
from ringout.records.verify import Broken, Verified

__all__ = [
    "Again",
    "Broken",
    "CellEntry",
    "Change",
    "Changes",
    "Entry",
    "Head",
    "Photo",
    "Read",
    "Reading",
    "Remark",
    "Run",
    "RunState",
    "RunStep",
    "Snapshot",
    "StepState",
    "Store",
    "StoreError",
    "UnclearReadingError",
    "Verified",
    "cells_in",
    "changes_of",
    "default_path",
    "export_csv",
    "find_store",
    "hide_password",
    "kept_as",
    "live_steps",
    "name_of",
    "open_store",
    "paper_record",
    "read_reading",
    "run_steps",
    "snapshot_of",
]
