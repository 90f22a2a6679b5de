"""Runs the parts of a lot on a Dask cluster and joins their tables. See scripts/lot_cluster."""
import argparse
import ctypes
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import polars
from distributed import Client, LocalCluster, as_completed

ROOT = Path(__file__).resolve().parent.parent


def end_with_parent():
    """On Linux: when the worker dies, so does the program it started, and no two work on one part."""
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)


def part(program, manifest, output, k, n, more):
    """One part of the lot. Done again after a crash, it goes on where it stopped."""
    folder = Path(output) / f"part-{k}-of-{n}"
    command = [program, "lot", manifest, "-o", str(folder), "--part", f"{k}/{n}", "-j", "1", *more]
    ran = subprocess.run(command, capture_output=True, text=True, preexec_fn=end_with_parent)
    # Status 1 says that some motors did not stand, which is in the table.
    if ran.returncode not in (0, 1):
        raise RuntimeError(f"part {k} of {n} ended with status {ran.returncode}: {ran.stderr.strip()}")
    return k, str(folder), ran.stdout.splitlines()[0]


def table(folder):
    """The table of a folder; as text where there is CSV only, so that no digit is read and written anew."""
    parquet = Path(folder) / "motors.parquet"
    if parquet.exists():
        return polars.read_parquet(parquet)
    return polars.read_csv(Path(folder) / "motors.csv", infer_schema=False)


def join(folders):
    whole = polars.concat([table(folder) for folder in folders])
    return whole.sort(polars.col("row").cast(polars.UInt64))


def kill_one(client, output, after_records):
    """For the test: SIGKILL to a worker process in the middle of its work."""
    while len(list(Path(output).glob("part-*/motors/*/*.record.json"))) < after_records:
        time.sleep(0.05)
    pids = client.run(os.getpid)
    victim = sorted(pids.values())[0]
    os.kill(victim, signal.SIGKILL)
    print(f"killed worker process {victim} after {after_records} motors", file=sys.stderr)


def main():
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("manifest")
    words.add_argument("output")
    words.add_argument("--parts", type=int)
    words.add_argument("--workers", type=int, default=2)
    words.add_argument("--scheduler", help="address of a running scheduler; without it local processes are started")
    words.add_argument("--base")
    words.add_argument("--program", default=os.environ.get("RUNDOWN", str(ROOT / "target/release/rundown")))
    words.add_argument("--kill-one-after", type=int, metavar="MOTORS", help="for the test: kill a worker when so many motors are done")
    told = words.parse_args()
    parts = told.parts or 4 * told.workers
    manifest, output = str(Path(told.manifest).resolve()), Path(told.output).resolve()
    output.mkdir(parents=True, exist_ok=True)
    program = shutil.which(told.program) or str(Path(told.program).resolve())
    more = ["--base", told.base] if told.base else []
    cluster = None
    if not told.scheduler:
        cluster = LocalCluster(n_workers=told.workers, threads_per_worker=1, processes=True, dashboard_address=None)
    with Client(told.scheduler or cluster) as client:
        futures = client.map(
            lambda k: part(program, manifest, str(output), k, parts, more), range(1, parts + 1), retries=3, pure=False)
        if told.kill_one_after is not None:
            threading.Thread(target=kill_one, args=(client, output, told.kill_one_after), daemon=True).start()
        folders = {}
        for future in as_completed(futures):
            k, folder, line = future.result()
            folders[k] = folder
            print(f"part {k} of {parts}: {line}", flush=True)
    if cluster:
        cluster.close()
    whole = join([folders[k] for k in sorted(folders)])
    whole.write_parquet(output / "motors.parquet")
    whole.write_csv(output / "motors.csv")
    # The motor files and records of all parts in one folder: a last `rundown lot` there finds everything done.
    joined = output / "joined"
    for folder in folders.values():
        shutil.copytree(Path(folder) / "motors", joined / "motors", dirs_exist_ok=True)
    (joined / "lot.json").write_text('{"format": "rundown-lot/1"}\n')
    ran = subprocess.run([program, "lot", manifest, "-o", str(joined), *more], text=True, capture_output=True)
    print(ran.stdout + ran.stderr, end="")
    return 0 if ran.returncode in (0, 1) else 2


if __name__ == "__main__":
    sys.exit(main())
