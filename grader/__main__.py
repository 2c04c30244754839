"""python -m grader."""

import sys

if __name__ == "__main__":
    try:
        from grader.cli.main import run
    except KeyboardInterrupt:  # while the program itself was still being read
        print("\nStopped before anything was done.", file=sys.stderr)
        sys.exit(130)
    run()
