"""A process of its own that lets others write, and kills them in the middle of it.

Run as `python writers.py MODE CELL URL RUN ACKS SEED`. It loads everything once and forks a
writer for each go, so that a great many can be killed in little time. What a writer was told to
be stored it notes in the file ACKS, before it goes on.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time

from ringout import run as stages
from ringout.records import Store, open_store
from tests.records.conftest import good_word

MOST_KILLS = 200
RUN_KILLS = 20
LONGEST_S = 0.02  # a writer lives on after what it was let do: about as long as the next step takes
SIGNS = os.pipe()  # a writer gives a sign when it is ready, and for all that was acknowledged


def note(acks: str, words: str) -> None:
    """Write a line that is there even when the next instruction never comes."""
    number = os.open(acks, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(number, f"{words}\n".encode())
    os.close(number)
    os.write(SIGNS[1], b"a")


def opened(cell_path: str, url: str) -> Store:
    store = open_store(cell_path, url or None)
    os.write(SIGNS[1], b"r")
    return store


def work_through(cell_path: str, url: str, run: int, acks: str) -> None:
    """Enter every open step of a run, one after the other."""
    with opened(cell_path, url) as store:
        while (state := store.next_step(run)) is not None:
            made = store.add_reading(run, state.step.number, good_word(state.step), who="Ada")
            note(acks, f"{made.step} {made.record}")


def begin_runs(cell_path: str, url: str, run: int, acks: str) -> None:
    """Begin runs like an old one, again and again."""
    cell = stages.load(cell_path).cell
    with opened(cell_path, url) as store:
        steps = [s.step for s in store.steps_of(run)]
        while True:
            note(acks, f"run {store.start_run(cell, steps, who='Ben').number}")


def crowd(cell_path: str, url: str, run: int, acks: str, who: str) -> None:
    """Enter every step once, whatever others do."""
    with opened(cell_path, url) as store:
        for state in store.steps_of(run):
            made = store.add_reading(run, state.step.number, good_word(state.step), who=who)
            note(acks, f"{who} {made.step} {made.record}")


def fork(work, *values) -> int:
    child = os.fork()
    if child:
        return child
    try:
        work(*values)
    except BaseException as problem:  # noqa: BLE001  # told by the exit code
        print(repr(problem), file=sys.stderr)
        os.write(SIGNS[1], b"e" * 10)
        os._exit(1)
    os.write(SIGNS[1], b"e" * 10)
    os._exit(0)


def let_do(signs: int) -> None:
    """Wait until a writer has given so many signs, or is done."""
    while signs > 0:
        found = os.read(SIGNS[0], signs)
        if b"e" in found:
            return
        signs -= len(found)


def drain() -> None:
    """Forget the signs of a writer that is gone."""
    while select.select([SIGNS[0]], [], [], 0)[0]:
        os.read(SIGNS[0], 4096)


def main() -> None:
    mode, cell_path, url, run, acks, seed = sys.argv[1:]
    chance = random.Random(int(seed))
    with opened(cell_path, url) as store:  # everything is loaded before the first fork
        store.verify()
    drain()
    stages.load(cell_path)
    if mode == "crowd":
        children = [fork(crowd, cell_path, url, int(run), acks, w) for w in ("Ada", "Ben", "Cid")]
        codes = [os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for c in children]
        sys.exit(max(codes))
    work = work_through if mode == "steps" else begin_runs
    killed = 0
    while killed < MOST_KILLS:
        child = fork(work, cell_path, url, int(run), acks)
        let_do(chance.randint(1, 4))  # 1: killed at its first step
        time.sleep(chance.uniform(0.0, LONGEST_S))
        os.kill(child, signal.SIGKILL)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        if status == -signal.SIGKILL:
            killed += 1
        elif status:
            sys.exit(status)
        else:
            break
        drain()
        if mode == "runs" and killed >= RUN_KILLS:
            break
    print(killed)


if __name__ == "__main__":
    main()
