"""What a command costs before it does anything: `duskhold --help` and `status` beside a bare interpreter.

    python tests/bench/start_cost.py [--rounds 10]

Processor time and time by the wall, the best of several rounds taken in turns; it asserts nothing. Modules are compiled
once before, as on any machine that keeps them.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time

COMMANDS = {
    "bare interpreter": ["-c", "pass"],
    "duskhold --help": ["-m", "duskhold", "--help"],
    "duskhold status": ["-m", "duskhold", "status", "--json"],
}


def children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def costs(words: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """Processor time and time by the wall of one start, in seconds."""
    used_s, began_s = children_s(), time.perf_counter()
    subprocess.run([sys.executable, *words], env=environment, capture_output=True, check=True)
    return children_s() - used_s, time.perf_counter() - began_s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=10)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as folder:
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        environment |= {"PYTHONPYCACHEPREFIX": folder, "XDG_STATE_HOME": folder, "XDG_DATA_HOME": folder}
        for words in COMMANDS.values():
            costs(words, environment)
        found = [{name: costs(words, environment) for name, words in COMMANDS.items()} for _ in range(rounds)]
    best = {name: tuple(min(one[name][kind] for one in found) for kind in (0, 1)) for name in COMMANDS}
    bare_s, _ = best["bare interpreter"]
    for name, (used_s, wall_s) in best.items():
        print(f"{name:<18} processor {used_s:6.3f} s, wall {wall_s:6.3f} s, {used_s / bare_s:5.1f} x bare")


if __name__ == "__main__":
    main()
