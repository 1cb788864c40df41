"""Run one process and say what it spent: `python launch.py WORD ...`, one line of JSON on stdout.

The process is started from this small one because Linux counts the peak memory of whoever forks into the child's own.
"""

import json
import os
import subprocess
import sys
import time

start = time.perf_counter()
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
said = child.stderr.read() if child.stderr else b""
_, status, used = os.wait4(child.pid, 0)
wall = time.perf_counter() - start
if os.waitstatus_to_exitcode(status):
    sys.exit(f"{sys.argv[1:]}: {said.decode(errors='replace')}")
unit = 2**20 if sys.platform == "darwin" else 2**10  # ru_maxrss is in bytes there, in KiB on Linux
print(json.dumps({"wall": wall, "cpu": used.ru_utime + used.ru_stime, "peak": used.ru_maxrss / unit}))
