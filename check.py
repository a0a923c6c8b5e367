"""Set up the test environment and run every check: ``python3 check.py``; exit 0 only when all pass."""

import argparse
import glob
import shutil
import subprocess
import sys
import time

from start import use_a_python_that_fits


def read_arguments():
    """The options of this script."""
    parser = argparse.ArgumentParser(description="Run ruff, mypy and the tests.")
    parser.add_argument("--quick", action="store_true", help="leave out mypy and the tests marked slow or browser")
    parser.add_argument(
        "--whole", action="store_true", help="do the long studies of the tests whole, not a part of each"
    )
    return parser.parse_args()


POSTGRESQL = "/usr/lib/postgresql/*/bin/initdb"
"""Where Debian's package keeps the programs of PostgreSQL; they are not on the path."""


def missing_programs():
    """What the checks use besides Python and do not find: what is then left out, and how to get it."""
    found = []
    if not (shutil.which("chromium") or shutil.which("chromium-browser")):
        found.append(("Chromium", "the tests of the page in a browser", "chromium"))
    if not (shutil.which("initdb") or glob.glob(POSTGRESQL)):
        found.append(("PostgreSQL", "the tests of the book on PostgreSQL", "postgresql"))
    return [
        f"{name} is not on this machine: {tests} are skipped. On Debian or Ubuntu: sudo apt install {package}"
        for name, tests, package in found
    ]


def steps(quick, whole):
    """Name and module arguments of each check; the tests come last so that their summary ends the output."""
    listed = [("ruff", ["ruff", "check", "."])]
    # the tests of a file share what they set up, and conftest.py orders the files
    tests = ["pytest", "-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "tests"]
    if whole:
        tests.append("--whole")
    if quick:
        tests += ["-m", "not slow and not browser"]
    else:
        listed.append(("mypy", ["mypy", "clackwork"]))
    return [*listed, ("tests", tests)]


def main():
    """Run all checks, also after one has failed, and sum up."""
    arguments = read_arguments()
    use_a_python_that_fits()
    import setup_env

    try:
        python = setup_env.ensure_environment(setup_env.TEST_LOCK)
        setup_env.warm_kernel(with_oracle=True)
    except setup_env.SetupError as error:
        print(error, file=sys.stderr)
        return 1
    missing = missing_programs()
    for words in missing:
        setup_env.say(words)
    outcomes = []
    for name, module in steps(arguments.quick, arguments.whole):
        setup_env.say(f"--- {name}")
        began = time.monotonic()
        code = subprocess.call([str(python), "-m", *module], cwd=str(setup_env.ROOT), env=setup_env.clean_variables())
        outcomes.append((name, code, time.monotonic() - began))
    words = (f"{name} {'passed' if code == 0 else 'FAILED'} in {spent:.1f} s" for name, code, spent in outcomes)
    for told in missing:  # said again where it is seen
        setup_env.say(told)
    setup_env.say("check: " + ", ".join(words))
    return 1 if any(code for _, code, _ in outcomes) else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit("Stopped.")
