"""What must not stand in any file of the project."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# Put together here, so that this file does not contain what it forbids.
REGISTRIES = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("registry", "npmjs", "org"),
        ("npmjs", "com"),
        ("anaconda", "org"),
        ("anaconda", "com"),
        ("deb", "debian", "org"),
        ("archive", "ubuntu", "com"),
        ("crates", "io"),
        ("pkg", "dev"),
    )
]
FOLDERS_OF_ONE_MACHINE = [
    rf"(?<![\w.~)\]}}/-])/(?:{'|'.join(('work', 'root', 'tmp', 'home', 'Users'))})(?:/|\b(?![\w(]))",
    r"\b[A-Z]:\\{1,2}" + "Users",
]
FORBIDDEN = {
    "a package registry": re.compile("|".join(rf"\b{re.escape(host)}\b" for host in REGISTRIES)),
    "a folder of one machine": re.compile("|".join(FOLDERS_OF_ONE_MACHINE)),
    "an index of packages": re.compile(
        "^--?(?:" + "|".join(("index-url", "extra-index-url", "find-links", "i ")) + ")", re.M
    ),
    "a line ending of another system": re.compile("\r\n"),
}


def text_files() -> Iterator[tuple[str, str]]:
    """Give the name and the text of every file that belongs to the project."""
    # Whoever runs the tests need not be the owner of the folder.
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True)
    if listed.returncode:
        pytest.skip("this folder is not a git checkout (`git clone` makes one), so its files can't be listed")
    for name in sorted(set(listed.stdout.decode().split("\0")) - {""}):
        path = ROOT / name
        content = path.read_bytes() if path.is_file() else b""
        if b"\0" not in content:
            yield name, content.decode("utf-8", errors="replace")


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_names(what: str):
    found = [
        f"{name}:{text.count(chr(10), 0, hit.start()) + 1}: {hit.group()!r}"
        for name, text in text_files()
        for hit in FORBIDDEN[what].finditer(text)
    ]
    assert not found, f"{what} in\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a package registry", "see https://" + "pypi" + ".org/project/x"),
        ("a folder of one machine", "open('" + "/ho" + "me/me/design.yaml')"),
        ("a folder of one machine", "cd " + "/wo" + "rk"),
        ("a folder of one machine", "C:" + "\\Users\\me"),
        ("an index of packages", "numpy==2.4.6\n--" + "index-url https://example.org/simple"),
        ("a line ending of another system", "v_pack_V" + "\r" + "\n"),
    ],
)
def test_the_search_finds(what: str, text: str):
    assert FORBIDDEN[what].search(text)


@pytest.mark.parametrize(
    "text", ["#!/usr/bin/env python3", "https://example.org" + "/ho" + "me/x", "a network" + "/wo" + "rkbench"]
)
def test_the_search_for_folders_leaves_alone(text: str):
    assert not FORBIDDEN["a folder of one machine"].search(text)
