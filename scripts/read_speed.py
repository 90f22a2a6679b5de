"""Time and memory of `rundown look` on one capture, beside polars merely reading it.

    read_speed.py PROGRAM CAPTURE RUNS [--alone]
    read_speed.py PROGRAM START RUNDOWN BRAKE RUNS --fit

The two sides take turns. Each polars run is a process of its own that measures `read_csv` alone, without its start and
import; `rundown` is measured from its start to its end. --alone leaves polars out. --fit fits three captures, beside
looking at each.
"""
import os
import statistics
import subprocess
import sys
import time

arguments = [a for a in sys.argv[1:] if not a.startswith("--")]
program, *paths, runs = arguments
runs = int(runs)
POLARS = """
import polars, resource, sys, time
def work():
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime
clock, before = time.perf_counter(), work()
f = polars.read_csv(sys.argv[1])
print(time.perf_counter() - clock, work() - before, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
"""


def ran(*command):
    """Seconds on the clock, seconds of processor time, most bytes of memory."""
    begun = time.perf_counter()
    child = subprocess.Popen([program, *command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    # Status 1 says that the result is doubtful, not that there is none.
    assert os.waitstatus_to_exitcode(status) in (0, 1), command
    return time.perf_counter() - begun, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024


def polars_reads(path):
    out = subprocess.run([sys.executable, "-c", POLARS, path], capture_output=True, text=True, check=True).stdout
    return tuple(map(float, out.split()))


def rows_of(path):
    with open(path, "rb") as file:
        return sum(block.count(b"\n") for block in iter(lambda: file.read(1 << 20), b"")) - 1


def median(measured, place):
    return statistics.median(m[place] for m in measured)


rows = [rows_of(path) for path in paths]  # and into the page cache, for both sides
kept = [16 * n for n in rows]
if "--fit" in sys.argv:
    start, rundown, brake = paths
    looks, fits = [], []
    for _ in range(runs):
        looks.append([ran("look", path) for path in paths])
        fits.append(ran("fit", "--start", start, "--rundown", rundown, "--brake", brake,
                        "--supply", "12V", "--speed", "4210rpm"))
    each = [median([l[k] for l in looks], 1) for k in range(3)]
    memory = [max(l[k][2] for l in looks) / kept[k] for k in range(3)]
    peak = max(f[2] for f in fits)
    print(f"look at a start, a run-down, a brake of {', '.join(map(str, rows))} rows: {', '.join(f'{e:.3f}' for e in each)} s of processor time, "
          f"peak {', '.join(f'{m:.2f}' for m in memory)} of the numbers")
    print(f"fit of the three: {median(fits, 1):.3f} s of processor time = {median(fits, 1) / sum(each):.2f} of looking at each, "
          f"peak {peak / 1e6:.0f} MB = {peak / sum(kept):.2f} of the numbers")
    sys.exit()
path = paths[0]
ours, theirs = [], []
for _ in range(runs):
    ours.append(ran("look", path))
    if "--alone" not in sys.argv:
        theirs.append(polars_reads(path))
memory = max(o[2] for o in ours)
print(f"{rows[0]} rows, {os.path.getsize(path) / 1e6:.1f} MB of text: rundown look {median(ours, 0):.3f} s, "
      f"{median(ours, 1):.3f} s of processor time ({1e9 * median(ours, 1) / rows[0]:.0f} ns a row), "
      f"peak {memory / 1e6:.0f} MB = {memory / kept[0]:.2f} of the two channels' numbers")
if theirs:
    print(f"polars read_csv {median(theirs, 0):.3f} s, {median(theirs, 1):.3f} s of processor time, peak {max(t[2] for t in theirs) / 1e6:.0f} MB")
    for place, what in enumerate(("on the clock", "of processor time")):
        ratios = [t[place] / o[place] for t, o in zip(theirs, ours)]
        print(f"rate of rundown over that of polars {what}: {statistics.median(ratios):.2f} (run by run: {', '.join(f'{r:.2f}' for r in ratios)})")
