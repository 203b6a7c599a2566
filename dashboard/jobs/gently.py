"""python -m dashboard.jobs.gently MODULE ARGUMENTS: runs a module in a process that gives way to every other one."""
import os
import runpy
import sys

#: Above the usual 0 (nice(2)): a tenth of the weight of the daemon and the pages, and not so little that it starves.
NICENESS = 10

if __name__ == "__main__":
    os.nice(NICENESS)
    module = sys.argv[1]
    sys.argv = sys.argv[1:]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
