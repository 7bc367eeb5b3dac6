"""Readers of what others hand in, fed by a fuzzer for some seconds: each input is read, or refused in one line."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from readers import READERS

ROOT = Path(__file__).parents[1]
SECONDS = 15


@pytest.mark.slow
@pytest.mark.parametrize("reader", ["photo", "model", *READERS])
def test_a_fuzzer_finds_nothing(reader, tmp_path):
    pytest.importorskip(
        "atheris", reason="atheris is not installed; it is not to be had on every system"
    )
    script = ROOT / "tests" / "benchmarks" / "fuzz.py"
    done = subprocess.run(
        [sys.executable, str(script), reader, "--seconds", str(SECONDS), "--work"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
    )
    assert done.returncode == 0, done.stderr.decode("utf-8", "replace")[-3000:]
