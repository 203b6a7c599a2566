"""A piece of long work for the tests of the background: says that it is half done, takes its time, writes what it was asked."""
import argparse
import json
import sys
import time
from pathlib import Path

if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=0.0)
    parser.add_argument("--fail", default="")
    parser.add_argument("--output", type=Path, required=True)
    asked = parser.parse_args()
    print("0.5", flush=True)
    time.sleep(asked.seconds)
    if asked.fail:
        sys.exit(f"Error: {asked.fail}")
    asked.output.write_text(json.dumps({"seconds": asked.seconds}))
