"""The drawing library inside the page is what its makers publish, with its licence beside it."""

import os
import re
import shutil
import subprocess
import tarfile

import pytest

from pianolab.report import render
from pianolab.report.render import plotly_version


def test_the_bundle_is_the_published_one_and_a_changed_one_is_seen(tmp_path) -> None:
    """Against npm's own package of that version."""
    npm = shutil.which("npm")
    name = f"plotly.js-basic-dist-min@{plotly_version()}"
    packed = npm and subprocess.run(
        [npm, "pack", "--silent", name], cwd=tmp_path, capture_output=True, text=True, timeout=120
    )
    if not packed or packed.returncode != 0:
        assert not os.environ.get("CI"), packed.stderr if packed else "no npm"
        pytest.skip("npm's package can't be fetched here")
    with tarfile.open(next(tmp_path.glob("*.tgz"))) as tar:
        published = {m.name: tar.extractfile(m) for m in tar.getmembers() if m.isfile()}
        script, licence = (published[f"package/{n}"].read() for n in ("plotly-basic.min.js", "LICENSE"))
    ours = render._plotly_js().encode("utf-8")
    assert ours == script.replace(b"\r\n", b"\n")
    assert ours + b" " != script
    assert b"MIT" in licence or b"Permission is hereby granted" in licence
    assert render._read("vendored/plotly-LICENSE.txt") == licence.decode("utf-8").replace("\r\n", "\n")


def test_its_version_is_read_from_itself() -> None:
    assert re.fullmatch(r"\d+\.\d+\.\d+", plotly_version())
