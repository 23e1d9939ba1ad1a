#!/usr/bin/env python3
"""Set Chargewright up in this folder and run it. Needs Python 3.11 or later and nothing else.

    python3 go.py study             study the shipped example
    python3 go.py study my.yaml     study another design
    python3 go.py test              check the code and run the tests

What follows goes on to the study or to pytest (`python3 go.py test -m "not slow"`). The first run makes the
folder `.venv` and fetches the libraries into it, each checked against its hash; later runs start at once.
"""

# Standard library only, and nothing that a Python 3.6 can't parse: it has to get as far as saying that it is too old.
import hashlib
import importlib.util
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
EXAMPLE = ROOT / "examples" / "tablet.yaml"
LOG = VENV / "set-up.log"
UNFINISHED = "unfinished"  # what a Ctrl-C or a power cut leaves in the stamp: such a `.venv` is made anew
OLDEST, NEWEST = (3, 11), (3, 14)  # the locked libraries have ready-made files for these

STORY = f"The whole story is in {LOG.relative_to(ROOT)}."
OFFLINE = (
    "Is this machine online? Behind a proxy, set HTTPS_PROXY; a package mirror goes into pip's own configuration. "
    f"Then run the same command again. {STORY}"
)
TAMPERED = f"What came is not what was pinned, so it was not installed. Is a mirror in use that changes files? {STORY}"
CHECKS = (
    ("ruff check", ["-m", "ruff", "check", "--quiet", "--output-format", "concise"]),
    ("ruff format", ["-m", "ruff", "format", "--check", "--quiet"]),
    ("mypy", ["-m", "mypy", "--no-error-summary"]),
    ("import direction", ["-c", "from importlinter.cli import lint_imports_command as c; c()", "--no-logo"]),
)


class Stop(Exception):
    """Ends the script with one message for the user."""


def main(arguments: "Sequence[str]") -> int:
    """Run one command and return its exit code."""
    commands = {"study": study, "test": test}
    if not arguments or arguments[0] not in commands:
        print(__doc__)
        return 0 if arguments and arguments[0] in ("-h", "--help", "help") else 2
    try:
        check_python()
        return commands[arguments[0]](list(arguments[1:]))
    except (Stop, OSError) as error:
        print(f"go.py: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\ngo.py: stopped. The same command starts again.", file=sys.stderr)
        return 130


def study(arguments: "list[str]") -> int:
    """Study the example, or the design file that comes first in `arguments`."""
    set_up("run")
    if not arguments or arguments[0].startswith("-"):
        arguments.insert(0, str(EXAMPLE.relative_to(ROOT) if Path.cwd() == ROOT else EXAMPLE))
    return call([python(), "-m", "chargewright", "study", *arguments])


def test(arguments: "list[str]") -> int:
    """Run every check, then the tests, whatever the checks said; fail if one of them fails."""
    set_up("dev")
    failed = []
    for name, command in CHECKS:
        with tempfile.TemporaryFile() as said:
            passed = call([python(), *command], cwd=ROOT, output=said.fileno()) == 0
            print(f"{name}: {'ok' if passed else 'FAILED'}", flush=True)
            if not passed:
                failed.append(name)
                said.seek(0)
                print(said.read().decode(errors="replace"), flush=True)
    code = call([python(), "-m", "pytest", "-n", "2", "-rfEs", *arguments], cwd=ROOT)
    if failed:
        print(f"go.py: failed before the tests: {', '.join(failed)} (see above)", file=sys.stderr)
    return code or int(bool(failed))


def check_python() -> None:
    """Stop unless the running Python is one that the locked libraries support."""
    found = tuple(sys.version_info[:2])
    if OLDEST <= found <= NEWEST:
        return
    wanted = f"{dotted(OLDEST)} to {dotted(NEWEST)}"
    named = [f"python3.{minor}" for minor in range(NEWEST[1], OLDEST[1] - 1, -1)]
    here = [name for name in named if output([name, "-c", "print()"])]
    cure = f"run `{here[0]} go.py` instead" if here else "install one of those and start go.py with it"
    raise Stop(f"this is Python {dotted(found)}, Chargewright needs Python {wanted}: {cure}")


def set_up(lock: str) -> None:
    """Bring `.venv` to what `requirements/<lock>.txt` pins, unless it is there already."""
    # The development set holds the whole of the other, so it serves for both.
    serve = [fingerprint(each) for each in ("run", "dev") if each in (lock, "dev")]
    if python().exists() and stamp().exists() and stamp().read_text() in serve:
        return
    make_venv()
    stamp().write_text(UNFINISHED)
    print("Fetching the libraries into .venv (a few hundred megabytes, the first time) ...", flush=True)
    try:
        install(lock)
    except Stop:
        stamp().unlink()  # an installer that fails by itself leaves no halves behind: the next run can mend this one
        raise
    stamp().write_text(fingerprint(lock))
    compile_ahead()


def compile_ahead() -> None:
    """Have the numerical kernels compiled, so that the first study is as quick as any; without that it only waits."""
    print("Compiling the numerical kernels, once (half a minute on two cores) ...", flush=True)
    if not logged([str(python()), "-m", "chargewright", "prepare"]):
        print(
            f"go.py: the kernels could not be compiled ahead: {reason()}\n    Everything works without, but the first "
            f"runs take longer. {STORY}",
            file=sys.stderr,
            flush=True,
        )


def install(lock: str) -> None:
    """Install what is pinned, each file checked against its hash, then Chargewright itself from this folder."""
    pinned = ["--only-binary", ":all:", "--require-hashes", "-r", str(ROOT / "requirements" / f"{lock}.txt")]
    tool = installer()
    if not logged([*tool, *pinned]):
        # uv and pip are told about mirrors and proxies in different places: pip may know a way.
        if tool == pip() or not logged([*pip(), *pinned]):
            raise Stop(f"could not fetch the libraries: {reason()}\n    {TAMPERED if 'HASH' in reason() else OFFLINE}")
        tool = pip()
    if not logged([*tool, "--no-build-isolation", "--no-deps", "-e", str(ROOT)]):
        raise Stop(f"could not install Chargewright itself into .venv: {reason()}")


def make_venv() -> None:
    """Make `.venv` for the running Python; one that fits is kept, with whatever else is in it."""
    version = [str(number) for number in sys.version_info[:2]]
    ask = "import importlib.util as u, sys; print(*sys.version_info[:2], u.find_spec('pip') is not None)"
    fits = python().exists() and output([str(python()), "-c", ask]).split() == [*version, "True"]
    if fits and not (stamp().exists() and stamp().read_text() == UNFINISHED):
        return
    if not all(importlib.util.find_spec(module) for module in ("venv", "ensurepip")):
        raise Stop(
            "this Python cannot make virtual environments. On Debian and Ubuntu run `apt install python3-venv` as root "
            f"(python{'.'.join(version)}-venv for a Python that is not the system's own), then the same command again"
        )
    print("Making .venv anew ..." if VENV.exists() else "Making .venv ...", flush=True)
    made = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", "--without-pip", str(VENV)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    if made.returncode:
        said = made.stdout.decode(errors="replace").strip().splitlines()
        raise Stop(f"could not make .venv: {(said or ['no reason given'])[-1]}")
    stamp().write_text(UNFINISHED)
    if not logged([str(python()), "-m", "ensurepip", "--default-pip"]):
        raise Stop(f"could not put pip into .venv: {reason()}")


def installer() -> "list[str]":
    """Return the start of an install command: uv's, many times faster, or pip's where uv can't be had."""
    if logged([*pip(), "--only-binary", ":all:", "--require-hashes", "-r", str(ROOT / "requirements" / "uv.txt")]):
        return [str(python()), "-m", "uv", "pip", "install", "--quiet", "--python", str(python())]
    return pip()


def pip() -> "list[str]":
    """Return the start of pip's install command."""
    return [str(python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--retries", "2"]


def logged(command: "list[str]") -> bool:
    """Run a set-up step with its words in the log, and return whether it succeeded."""
    environment = dict(os.environ, PIP_USER="0")
    environment.pop("UV_SYSTEM_PYTHON", None)  # contradicts --python
    with LOG.open("a", encoding="utf-8") as log:
        log.write(f"\n$ {' '.join(command)}\n")
        log.flush()
        return call(command, output=log.fileno(), environment=environment) == 0


def reason() -> str:
    """Return the line of the log that says best why the last step failed."""
    lines = LOG.read_text(encoding="utf-8", errors="replace").rpartition("\n$ ")[2].splitlines()[1:]
    said = [line.strip() for line in lines if line.strip()]
    errors = [line for line in said if line.lower().startswith("error")]
    return (errors or said or ["no reason given"])[0]


def call(
    command: "Sequence[object]",
    cwd: "Path | None" = None,
    output: "int | None" = None,
    environment: "dict[str, str] | None" = None,
) -> int:
    """Run a program to its end and return its exit code, 128 + n where signal n ended it."""
    words = [str(word) for word in command]
    folder = None if cwd is None else str(cwd)
    child = subprocess.Popen(words, cwd=folder, stdout=output, stderr=output, env=environment)
    try:
        code = child.wait()
    except KeyboardInterrupt:
        end(child)
        raise
    return code if code >= 0 else 128 - code


def end(child: "subprocess.Popen[bytes]") -> None:
    """Let a program that got the same Ctrl-C finish what it says about it; a second Ctrl-C ends it at once."""
    try:
        child.wait(timeout=10)
    except (KeyboardInterrupt, subprocess.TimeoutExpired):
        child.kill()
        child.wait()


def output(command: "list[str]") -> str:
    """Return what a short program prints; nothing if it can't be run."""
    try:
        done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    except OSError:
        return ""
    return done.stdout.decode(errors="replace")


def python() -> Path:
    """Return the Python inside `.venv`."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def stamp() -> Path:
    """Return the file in `.venv` that holds the fingerprint of what it was set up for."""
    return VENV / "set-up.stamp"


def fingerprint(lock: str) -> str:
    """Return a hash of all that set-up depends on: the Python, the place of this folder, the pinned versions."""
    digest = hashlib.sha256(f"{sys.platform} {dotted(sys.version_info[:2])} {ROOT}".encode())
    for name in ("pyproject.toml", "requirements/uv.txt", f"requirements/{lock}.txt"):
        digest.update((ROOT / name).read_bytes())
    return digest.hexdigest()


def dotted(version: "tuple[int, ...]") -> str:
    """Return `3.11` for (3, 11)."""
    return ".".join(str(number) for number in version)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
