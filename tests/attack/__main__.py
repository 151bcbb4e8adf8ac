"""The long attack, by one command: `python -m tests.attack --inputs 100000 --kills 1000 --plans 10000 --waters 100000`.

Prints how often every outcome came, and each finding with its key; exit code 1 if anything was found. A finding is seen
again with `--again plans 1/17`, which shows what was drawn and what is wrong with it.
"""

from __future__ import annotations

import argparse
import faulthandler
import importlib
import os
import resource
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait

from . import Seen

KINDS = ("plans", "files", "options", "kills", "waters")
_MODULES = {"plans": "laws"}
_DEADLY_S = 60  # of the processor for one attack: after that its process is ended
_FORK = get_context("fork")


def _module(kind: str) -> object:
    return importlib.import_module(f"{__package__}.{_MODULES.get(kind, kind)}")


def attack_of(kind: str) -> Callable[[str], Seen]:
    """The attack of a kind, by its key."""
    attack: Callable[[str], Seen] = _module(kind).attack  # type: ignore[attr-defined]
    return attack


def _work(kind: str, keys: Sequence[str], mouth: Connection) -> None:
    """One attack after another, each allowed so much of the processor; what came of it goes through the pipe."""
    attack = attack_of(kind)
    faulthandler.register(signal.SIGXCPU, chain=True)  # where it was when it had used up its share
    for number, key in enumerate(keys):
        used_s = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
        resource.setrlimit(resource.RLIMIT_CPU, (int(used_s) + _DEADLY_S, resource.RLIM_INFINITY))
        mouth.send((number, attack(key)))
    mouth.close()


class _Worker:
    """A process that attacks its share of the keys; begun again behind an attack that ended it."""

    def __init__(self, kind: str, keys: Sequence[str]) -> None:
        self.kind, self.keys = kind, keys
        self.ear, mouth = _FORK.Pipe(duplex=False)
        self.process = _FORK.Process(target=_work, args=(kind, keys, mouth))
        self.process.start()
        mouth.close()
        self.done = 0

    def take(self) -> tuple[str, Seen] | None:
        """The next thing it met; None when it has ended."""
        try:
            number, seen = self.ear.recv()
        except EOFError:
            self.process.join()
            return None
        self.done = number + 1
        return self.keys[number], seen


def attacked(kind: str, seed: int, count: int, processes: int) -> Iterator[tuple[str, Seen]]:
    """Every key with what was met, as it comes."""
    keys = [f"{seed}/{number}" for number in range(count)]
    workers = [_Worker(kind, keys[part::processes]) for part in range(processes)]
    while workers:
        for ear in wait([worker.ear for worker in workers]):
            worker = next(worker for worker in workers if worker.ear is ear)
            met = worker.take()
            if met is not None:
                yield met
                continue
            workers.remove(worker)
            if worker.done < len(worker.keys):
                text = f"ended its process (signal {-(worker.process.exitcode or 0)}), or took over {_DEADLY_S} s"
                yield worker.keys[worker.done], Seen(["ended"], [text])
                if rest := worker.keys[worker.done + 1 :]:
                    workers.append(_Worker(kind, rest))


def _run(kind: str, seed: int, count: int, processes: int, told: int) -> int:
    """Attacks, prints counts and findings; how many were found."""
    began_s, outcomes, found = time.perf_counter(), Counter[str](), 0
    for key, seen in attacked(kind, seed, count, processes):
        outcomes.update(seen.outcomes)
        for text in seen.broken:
            found += 1
            if found <= told:
                print(f"FOUND {kind} {key}: {text}", flush=True)
    print(f"\n{kind}: {count} attacks in {time.perf_counter() - began_s:.0f} s, {found} findings")
    for outcome, times in sorted(outcomes.items()):
        print(f"  {times:7d}  {outcome}")
    answered = sum(times for outcome, times in outcomes.items() if outcome.endswith("answered"))
    if answered:
        print(f"  {answered / count:.0%} were answered\n")
    return found


def main() -> int:
    """Exit code: 1 if anything was found."""
    asked = argparse.ArgumentParser(prog="python -m tests.attack", description=__doc__)
    asked.add_argument("--plans", type=int, default=0, help="drawn households to plan")
    asked.add_argument("--inputs", type=int, default=0, help="household files and command lines, half of each")
    asked.add_argument("--kills", type=int, default=0, help="commands killed as they write")
    asked.add_argument("--waters", type=int, default=0, help="waters, by the thousand")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--told", type=int, default=200, help="findings of each kind to print")
    asked.add_argument(
        "--again", nargs=2, metavar=("KIND", "KEY"), help=f"one attack again; a kind is of {', '.join(KINDS)}"
    )
    given = asked.parse_args()
    if given.again:
        kind, key = given.again
        print(_module(kind).shown(key))  # type: ignore[attr-defined]
        seen = attack_of(kind)(key)
        print(*seen.outcomes, *seen.broken, sep="\n")
        return int(bool(seen.broken))
    counts = {
        "plans": given.plans, "files": given.inputs // 2, "options": given.inputs - given.inputs // 2, "kills": given.kills,
        "waters": -(-given.waters // 1000),
    }  # fmt: skip
    asked_for = {kind: count for kind, count in counts.items() if count}
    found = sum(_run(kind, given.seed, count, given.processes, given.told) for kind, count in asked_for.items())
    print(f"{found} findings in all")
    return int(found > 0)


if __name__ == "__main__":
    sys.exit(main())
