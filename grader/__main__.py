"""python -m grader."""

from grader.cli.main import run

if __name__ == "__main__":
    run()
