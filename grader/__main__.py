"""Where the program starts, as `timing-mark` and as `python -m grader`."""

import sys


def main() -> None:
    """Read the program and run the command that was typed."""
    try:
        from grader.cli.main import run
    except KeyboardInterrupt:  # while the program itself was still being read
        print("\nStopped before anything was done.", file=sys.stderr)
        sys.exit(130)
    run()


if __name__ == "__main__":
    main()
