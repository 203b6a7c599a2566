"""Makes the logs in this folder anew: each is written by the program as it was when its shape of tables was the newest.

python -m tests.earlier_logs.make, in a checkout with its whole history. The samples are those of the fixture of that time
(tests/store_fixture.py), lived through by the trackers of that time; beside each log stands what they had learnt.
"""
import gzip
import json
import os
import sqlite3
import subprocess
import sys
import tarfile
import tempfile
from contextlib import closing
from io import BytesIO
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
#: shape -> the last commit that wrote it, or the one that began the present one
WRITTEN_BY = {"0001": "2720465", "0002": "9939263", "0003": "c16089b"}
DAYS = 2.0

#: Run by the earlier program itself, in its own folder.
_WRITE = f"""
import sys, json
from pathlib import Path
from tests import store_fixture
database = Path(sys.argv[1])
store_fixture.fill(database, {DAYS}, beat_s=60.0, simulated=False)
try:
    from monitor.logbook.reader import Reader
except ImportError:
    from monitor.store.reader import Reader
now = Reader(database).now()
charge = now.findings.charge
plain = lambda e: [e.value, e.low, e.high]
print(json.dumps({{"charge_frac": plain(charge.charge_frac), "capacity_ah": plain(charge.capacity_ah),
                  "isolator": now.findings.join.isolator if hasattr(now.findings, "join") else now.findings.isolator.isolator,
                  "spent_ah": now.findings.counts.total.spent_ah}}))
"""


def write(shape: str, commit: str) -> None:
    """Writes one log and what was learnt, as files of this folder."""
    archive = subprocess.run(["git", "archive", commit], cwd=ROOT, check=True, capture_output=True).stdout
    with tempfile.TemporaryDirectory() as folder:
        with tarfile.open(fileobj=BytesIO(archive)) as tree:
            tree.extractall(f"{folder}/tree", filter="data")
        database = Path(folder, "ampledger.db")
        done = subprocess.run([sys.executable, "-c", _WRITE, str(database)], cwd=f"{folder}/tree", check=True, capture_output=True,
                              text=True, env={**os.environ, "PYTHONPATH": f"{folder}/tree"})
        with closing(sqlite3.connect(database)) as log:
            log.execute("pragma wal_checkpoint(truncate)")
            log.execute("pragma journal_mode = delete")
        (HERE / f"{shape}.db.gz").write_bytes(gzip.compress(database.read_bytes(), 9, mtime=0))
        learnt = json.loads(done.stdout.splitlines()[-1])
        (HERE / f"{shape}.json").write_text(json.dumps({"commit": commit, "days": DAYS, **learnt}, indent=1) + "\n")
        print(shape, database.stat().st_size, (HERE / f"{shape}.db.gz").stat().st_size, learnt)


if __name__ == "__main__":
    for one, by in WRITTEN_BY.items():
        write(one, by)
