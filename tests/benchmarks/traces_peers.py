"""The same summary of the same Parquet files by the kernel and by three other ways, each in a process of its own.

    python tests/benchmarks/traces_peers.py FOLDER [ROUNDS] [REPEATS]

prints a table: seconds (median), times the plain scan, peak memory. FOLDER holds files of ``traces_data.py``. The ways
are run in turn, round by round, so that a busy machine slows all of them. Every way must give the same sums.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

WAYS = ("duckdb scan", "kernel", "duckdb sql", "polars lazy", "pandas")
GAP = 5.0
COLUMNS = ("participant_id", "session_id", "t_s", "power_w", "cadence_rpm", "phase")

SQL = f"""
with steps as (
  select participant_id, session_id, t_s, power_w, cadence_rpm, phase,
    coalesce(lead(t_s) over w - t_s, 0) as step, lead(power_w) over w as later
  from '{{files}}' window w as (partition by participant_id, session_id order by t_s)),
held as (select *, least(step, {GAP}) as held, phase = 'active' and power_w > 0 as active from steps)
select participant_id, session_id, max(t_s) - min(t_s) as total_s, sum(held) as recorded_s,
  sum(case when active then held else 0 end) as active_s,
  sum(case when active then power_w * held else 0 end) as recorded_work_j,
  sum(case when active and step <= {GAP} then (power_w + greatest(coalesce(later, 0), 0)) / 2 * step else 0 end)
    as trapezoid_work_j,
  sum(least(power_w, 0) * held) as motor_work_j, max(case when active then power_w end) as peak_power_w,
  sum(case when active then cadence_rpm * held end) / sum(case when active then held end) as mean_cadence_rpm
from held group by participant_id, session_id
"""


def kernel(folder: Path) -> list[float]:
    """Sum a folder with the package."""
    from outcomes.dose import TraceRules
    from outcomes.intake import TraceSource
    from outcomes.study import Traces

    sources = tuple(TraceSource(path, path.name) for path in sorted(folder.glob("*.parquet")))
    rows = Traces(sources, (), TraceRules(gap_s=GAP)).summary().sessions
    return checks(rows)


def checks(rows) -> list[float]:  # type: ignore[no-untyped-def]
    """Return what must be the same for every way."""
    names = ("active_s", "recorded_work_j", "trapezoid_work_j", "motor_work_j", "peak_power_w", "mean_cadence_rpm")
    return [float(len(rows)), *(float(rows[name].sum()) for name in names)]


def scan(folder: Path) -> list[float]:
    """Read every column that the summary needs, and do next to nothing with it."""
    import duckdb

    query = "select sum(t_s), sum(power_w), sum(cadence_rpm), count(participant_id), count(session_id), count(phase)"
    duckdb.sql(f"{query} from '{folder}/*.parquet'").fetchall()
    return []


def sql(folder: Path) -> list[float]:
    """Sum with window functions in SQL."""
    import duckdb

    return checks(duckdb.sql(SQL.format(files=f"{folder}/*.parquet")).df())


def lazy(folder: Path) -> list[float]:
    """Sum with lazy expressions over ordered windows, on the streaming engine."""
    import polars as pl

    keys = ["participant_id", "session_id"]
    step = (pl.col("t_s").shift(-1).over(keys, order_by="t_s") - pl.col("t_s")).fill_null(0)
    frame = pl.scan_parquet(f"{folder}/*.parquet").select(COLUMNS).with_columns(pl.col(keys).cast(pl.String))
    frame = frame.with_columns(step=step, later=pl.col("power_w").shift(-1).over(keys, order_by="t_s"))
    held, power = pl.col("step").clip(upper_bound=GAP), pl.col("power_w")
    active = (pl.col("phase").cast(pl.String) == "active") & (power > 0)
    area = (power + pl.col("later").fill_null(0).clip(lower_bound=0)) / 2 * pl.col("step")
    found = frame.group_by(keys).agg(
        active_s=held.filter(active).sum(),
        recorded_work_j=(power * held).filter(active).sum(),
        trapezoid_work_j=area.filter(active & (pl.col("step") <= GAP)).sum(),
        motor_work_j=(power.clip(upper_bound=0) * held).sum(),
        peak_power_w=power.filter(active).max(),
        mean_cadence_rpm=(pl.col("cadence_rpm") * held).filter(active).sum() / held.filter(active).sum(),
    )
    return checks(found.collect(engine="streaming").to_pandas())


def frames(folder: Path) -> list[float]:
    """Sum with grouped shifts of one big data frame."""
    import numpy as np
    import pandas as pd

    frame = pd.concat([pd.read_parquet(path, columns=list(COLUMNS)) for path in sorted(folder.glob("*.parquet"))])
    frame = frame.reset_index(drop=True)
    keys = [frame["participant_id"].astype("str"), frame["session_id"].astype("str")]
    groups = frame.groupby(keys, sort=False)
    step = (groups["t_s"].shift(-1) - frame["t_s"]).fillna(0)
    later = groups["power_w"].shift(-1).fillna(0).clip(lower=0)
    held, power = step.clip(upper=GAP), frame["power_w"]
    active = (frame["phase"] == "active") & (power > 0)
    columns = pd.DataFrame(
        {
            "active_s": held.where(active, 0),
            "recorded_work_j": (power * held).where(active, 0),
            "trapezoid_work_j": ((power + later) / 2 * step).where(active & (step <= GAP), 0),
            "motor_work_j": power.clip(upper=0) * held,
            "cadence": (frame["cadence_rpm"] * held).where(active, 0),
        }
    )
    found = columns.groupby(keys, sort=False).sum()
    found["peak_power_w"] = power.where(active, np.nan).groupby(keys, sort=False).max()
    found["mean_cadence_rpm"] = found["cadence"] / found["active_s"]
    return checks(found)


RUN = dict(zip(WAYS, (scan, kernel, sql, lazy, frames), strict=True))


def one(way: str, folder: Path, repeats: int) -> None:
    """Run one way in this process and print seconds, peak memory in MB and the sums."""
    for module in {"kernel": ("numpy", "pandas", "pyarrow.parquet", "outcomes.study", "outcomes.dose")}.get(way, ()):
        __import__(module)
    for module in {"duckdb": ("duckdb", "pandas"), "polars": ("polars", "pandas")}.get(way.split()[0], ("pandas",)):
        __import__(module)
    start = time.perf_counter()
    for _ in range(repeats):
        sums = RUN[way](folder)
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([seconds, peak, sums]))


def ask(way: str, folder: Path, repeats: int = 1) -> tuple[float, float, list[float]]:
    """Run one way in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", way, str(folder), str(repeats)], capture_output=True, text=True, check=True
    )
    seconds, peak, sums = json.loads(done.stdout.splitlines()[-1])
    return seconds, peak, sums


def compare(folder: Path, rounds: int, repeats: int) -> list[str]:
    """Return the table of all ways as lines.

    Raises
    ------
    ValueError
        Two ways disagree.
    """
    times: dict[str, list[float]] = {way: [] for way in WAYS}
    peaks: dict[str, float] = {}
    sums: dict[str, list[float]] = {}
    for _ in range(rounds):
        for way in WAYS:
            seconds, peak, found = ask(way, folder)
            times[way].append(seconds)
            peaks[way] = max(peak, peaks.get(way, 0.0))
            sums[way] = found
    for way in WAYS[2:]:
        wrong = [(a, b) for a, b in zip(sums["kernel"], sums[way], strict=True) if abs(a - b) > 1e-6 * max(1, abs(a))]
        if wrong:
            raise ValueError(f"{way} gives other sums than the kernel: {wrong}")
    middle = {way: statistics.median(values) for way, values in times.items()}
    lines = ["| way | seconds | x plain scan | x kernel | peak MB |", "|---|---|---|---|---|"]
    for way in WAYS:
        ratios = f"{middle[way] / middle['duckdb scan']:.2f} | {middle[way] / middle['kernel']:.2f}"
        lines.append(f"| {way} | {middle[way]:.2f} | {ratios} | {peaks[way]:.0f} |")
    if repeats > 1:
        seconds, peak, _ = ask("kernel", folder, repeats)
        ratios = f"- | {seconds / middle['kernel']:.2f}"
        lines.append(f"| kernel, the same files {repeats} times | {seconds:.2f} | {ratios} | {peak:.0f} |")
    return lines


if __name__ == "__main__":
    if sys.argv[1] == "--one":
        one(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]))
    else:
        rounds, repeats = (int(word) for word in (*sys.argv[2:4], *("3", "1")[len(sys.argv) - 2 :]))
        print("\n".join(compare(Path(sys.argv[1]), rounds, repeats)))
