"""Whether this process is ending: an answer that would go on for long asks, and ends by itself."""

from __future__ import annotations

import threading

ENDING = threading.Event()  # one for all benches of a process, which end together
