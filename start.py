"""Set up clackwork, run its demonstration, and serve the page: ``python3 start.py``."""

import argparse
import os
import shutil
import subprocess
import sys

OLDEST, NEWEST = (3, 11), (3, 13)


def use_a_python_that_fits():
    """Go on under Python 3.11 to 3.13; else hand over to one found on the path, or say how to get one."""
    if OLDEST <= sys.version_info[:2] <= NEWEST:
        return
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        found = shutil.which("python3." + str(minor))
        if found and subprocess.call([found, "-c", ""], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) == 0:
            sys.exit(subprocess.call([found, *sys.argv]))
    have = ".".join(map(str, sys.version_info[:2]))
    sys.exit(
        "Python 3.11, 3.12 or 3.13 is needed and this is " + have + "; on Debian or Ubuntu: "
        "sudo apt install python3.11 (or python3.12, python3.13: whichever the release has)"
    )


def read_arguments():
    """The options of this script."""
    parser = argparse.ArgumentParser(description="Set up clackwork in .venv, run its demonstration, serve the page.")
    parser.add_argument("--out", default="out", metavar="FOLDER", help="where the results go (default: out)")
    parser.add_argument("--no-serve", action="store_true", help="write the results and end; serve no page")
    parser.add_argument("--book", metavar="FOLDER", help="where your book is kept (default: your own data folder)")
    parser.add_argument("--port", metavar="PORT", help="port of the page; another is taken when it is not free")
    parser.add_argument("--set-up-only", action="store_true", help="make .venv ready and end")
    return parser.parse_args()


def main():
    """Set up, run ``python -m clackwork demo``, then serve the page until Ctrl-C."""
    arguments = read_arguments()
    use_a_python_that_fits()
    import setup_env

    try:
        python = setup_env.ensure_environment(setup_env.RUN_LOCK)
        setup_env.warm_kernel()
    except setup_env.SetupError as error:
        print(error, file=sys.stderr)
        return 1
    if arguments.set_up_only:
        setup_env.say("Ready: .venv/bin/clackwork --help")
        return 0
    if not (setup_env.ROOT / "clackwork" / "cli.py").is_file():
        print(
            "The command line, clackwork/cli.py, is not in this copy: fetch the whole project again.",
            file=sys.stderr,
        )
        return 1
    command = [str(python), "-m", "clackwork", "demo", "--out", os.path.abspath(arguments.out)]
    code = subprocess.call(command, cwd=str(setup_env.ROOT), env=setup_env.clean_variables())
    if code != 0 or arguments.no_serve:
        return code
    return serve(python, arguments.book, arguments.port)


def serve(python, book, port):
    """Hand this process over to the server, so that Ctrl-C and the signal to end reach it and nothing else."""
    import setup_env

    command = [str(python), "-m", "clackwork", "serve"]
    command += [os.path.abspath(book) if "://" not in book else book] if book else []
    command += ["--port", port] if port else []
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        os.chdir(str(setup_env.ROOT))
        os.execve(command[0], command, setup_env.clean_variables())
    served = subprocess.Popen(command, cwd=str(setup_env.ROOT), env=setup_env.clean_variables())
    while True:
        try:
            return served.wait()
        except KeyboardInterrupt:
            continue  # the server was told as well, and ends by itself


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit("Stopped.")
