"""What is installed works without the source: the wheel is whole, and runs from an empty folder."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SCRIPTS = "Scripts" if os.name == "nt" else "bin"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built from a copy of the source that is gone then."""
    copy, out = tmp_path_factory.mktemp("source") / "copy", tmp_path_factory.mktemp("wheel")
    copy.mkdir()
    for name in ("grader", "models"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy / name)
    build = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(out), str(copy)]
    done = subprocess.run(build, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    shutil.rmtree(copy)
    return next(out.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """An environment with the wheel and, from the one that runs the tests, what it needs."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder / "env", with_pip=False)
    install = [
        sys.executable,
        "-m",
        "pip",
        "--python",
        str(folder / "env"),
        "install",
        "-q",
        "--no-deps",
        str(wheel),
    ]
    done = subprocess.run(install, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    # By a path, so that the source, which may be installed there to be worked on, is not found with it.
    packages = next((folder / "env").rglob("site-packages"))
    (packages / "needed.pth").write_text(sysconfig.get_path("purelib") + "\n", "utf-8")
    return folder / "env" / SCRIPTS


@pytest.fixture
def grader(installed, tmp_path):
    """Run a command of the installed tool in an empty folder."""
    here = tmp_path / "empty"
    here.mkdir()
    left_out = {"PYTHONPATH", "PYTHONHOME"}
    environment = {name: value for name, value in os.environ.items() if name not in left_out}
    environment["XDG_DATA_HOME"] = str(tmp_path / "data")

    def run(*args, program: str = "grader") -> str:
        done = subprocess.run(
            [installed / program, *args],
            cwd=here,
            env=environment,
            capture_output=True,
            text=True,
            encoding="utf-8",
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    run.here, run.environment = here, environment
    return run


@pytest.mark.slow
def test_all_that_is_in_the_source_is_in_the_wheel(wheel):
    with zipfile.ZipFile(wheel) as packed:
        there = {name for name in packed.namelist() if name.startswith("grader/")}
    ours = [
        path
        for path in (ROOT / "grader").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    ]
    needed = {path.relative_to(ROOT).as_posix() for path in ours}
    needed |= {
        f"grader/{path.relative_to(ROOT).as_posix()}"
        for path in (ROOT / "models").rglob("*")
        if path.is_file()
    }
    assert needed == there
    # Each kind of file that is no code, so that an empty list would be seen.
    assert {Path(name).suffix for name in there} >= {
        ".html",
        ".js",
        ".css",
        ".json",
        ".toml",
        ".onnx",
        ".md",
    }


@pytest.mark.slow
def test_the_installed_tool_comes_from_its_wheel(grader, installed):
    place = grader("-c", "import grader; print(grader.__file__)", program="python").strip()
    assert installed.parent in Path(place).parents


@pytest.mark.slow
def test_the_installed_tool_grades_tells_and_draws(grader):
    assert "batch" in grader("--help")
    photos = grader.here / "photos"
    photos.mkdir()
    for name in ("01_lake_over_shore.jpg", "10_from_the_phone.heic"):
        shutil.copy(ROOT / "sample_images" / name, photos / name)
    grader("batch", "photos", "--out", "graded", "--ledger", "graded/samples.sqlite")
    assert (grader.here / "graded" / "sheet.html").stat().st_size > 100_000
    told = grader(
        "check",
        "photos/01_lake_over_shore.jpg",
        "--picture",
        "graded.jpg",
        "--ledger",
        "graded/samples.sqlite",
    )
    assert "usable" in told and (grader.here / "graded.jpg").is_file()
    for command in (
        ("card", "--out", "card.pdf"),
        ("models",),
        ("listing", "--help"),
        ("haul", "--help"),
    ):
        grader(*command)
    assert (grader.here / "card.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.slow
def test_the_installed_table_answers(grader, installed):
    from urllib.request import ProxyHandler, build_opener

    pytest.importorskip("uvicorn", reason="the table's extra is not installed")
    table = subprocess.Popen(
        [installed / "grader", "table", "--port", "0", "--address-only"],
        cwd=grader.here, env=grader.environment, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        address = table.stdout.readline().split()[-1]
        page = build_opener(ProxyHandler({})).open(address, timeout=60).read().decode("utf-8")
        assert "<html" in page
    finally:
        table.terminate()
        table.communicate(timeout=60)


@pytest.mark.slow
def test_the_installed_tool_draws_its_season(grader):
    code = "from pathlib import Path; from grader.demo.season import make_season; " \
        "made = make_season(Path('season'), pieces=(1, 1, 1), workers=1); print(made.pieces)"  # fmt: skip
    assert grader("-c", code, program="python").strip() == "3"
