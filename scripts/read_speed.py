"""Time and memory of `rundown look` on one capture, beside polars merely reading it.

    read_speed.py PROGRAM CAPTURE RUNS [--alone]

The two sides take turns. Each polars run is a process of its own that times `read_csv` alone, without its start and
import; `rundown` is timed from its start to its end. --alone leaves polars out.
"""
import os
import statistics
import subprocess
import sys
import time

program, path, runs = sys.argv[1], sys.argv[2], int(sys.argv[3])
alone = "--alone" in sys.argv
POLARS = "import polars, sys, time; t = time.perf_counter(); f = polars.read_csv(sys.argv[1]); print(time.perf_counter() - t, f.height)"


def look():
    begun = time.perf_counter()
    child = subprocess.Popen([program, "look", path], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    # Status 1 says that the capture is doubtful, not that it was not read.
    assert os.waitstatus_to_exitcode(status) in (0, 1)
    return time.perf_counter() - begun, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024


open(path, "rb").read()  # into the page cache, for both
ours, theirs = [], []
rows = sum(block.count(b"\n") for block in iter(lambda f=open(path, "rb"): f.read(1 << 20), b"")) - 1
for _ in range(runs):
    ours.append(look())
    if not alone:
        out = subprocess.run([sys.executable, "-c", POLARS, path], capture_output=True, text=True, check=True).stdout
        theirs.append(float(out.split()[0]))
seconds = statistics.median(o[0] for o in ours)
work = statistics.median(o[1] for o in ours)
memory = max(o[2] for o in ours)
kept = rows * 2 * 8
print(f"{rows} rows, {os.path.getsize(path) / 1e6:.1f} MB of text: rundown look {seconds:.3f} s "
      f"({1e9 * seconds / rows:.0f} ns a row, {work:.3f} s of processor time), "
      f"peak {memory / 1e6:.0f} MB = {memory / kept:.2f} of the two channels' numbers")
if theirs:
    other = statistics.median(theirs)
    print(f"polars read_csv {other:.3f} s; rate of rundown over that of polars {other / seconds:.2f} "
          f"(run by run: {', '.join(f'{t / o[0]:.2f}' for t, o in zip(theirs, ours))})")
