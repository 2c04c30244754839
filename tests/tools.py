"""All the tools that read the project without running it: python -m tests.tools [NAME ...]

ruff (errors, imports, complexity, layout), import-linter (the house), pyright (types), eslint (the page).
`.ci/run` and the pre-commit hook run this; names such as `ruff` or `eslint` run only those.
"""

import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = Path(sysconfig.get_path("scripts"))
ESLINT = ROOT / ".ci" / "node_modules" / "eslint" / "bin" / "eslint.js"
TOOLS = {
    "ruff": (
        [SCRIPTS / "ruff", "check", "."],
        [SCRIPTS / "ruff", "format", "--check", "."],
    ),
    "import-linter": ([SCRIPTS / "lint-imports", "--no-cache"],),
    # Of itself pyright asks the python on the PATH, which need not be the environment that runs this.
    "pyright": ([SCRIPTS / "pyright", "--pythonpath", sys.executable],),
    "eslint": (["node", ESLINT, "--config", ".ci/eslint.config.mjs", "grader/**/*.js"],),
}


def run(names):
    """Run the tools of those names, every one of them to its end; returns those that found something."""
    found = []
    for name in names:
        for command in TOOLS[name]:
            print(f"{name}: {' '.join(str(word) for word in command[1:])}", flush=True)
            if subprocess.run([str(word) for word in command], cwd=ROOT, check=False).returncode:
                found.append(name)
                break
    return found


def main(names):
    unknown = [name for name in names if name not in TOOLS]
    if unknown:
        sys.exit(f"There is no tool {', '.join(unknown)}; there are {', '.join(TOOLS)}.")
    names = names or list(TOOLS)
    if "eslint" in names and not (shutil.which("node") and ESLINT.is_file()):
        sys.exit("eslint needs Node and 'npm ci --prefix .ci'. Nothing was run; name the other tools to leave it out.")
    found = run(names)
    if found:
        sys.exit(f"Look at what is said above: {', '.join(found)}.")
    print("All tools are content.")


if __name__ == "__main__":
    main(sys.argv[1:])
