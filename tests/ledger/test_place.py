"""Where the ledger lies, and what is said of a bad place."""

import subprocess
import sys
from pathlib import Path

import pytest

from grader.ledger.place import place_remarks

ROOT = Path(__file__).parents[2]

MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
host:/stones /mnt/stones nfs4 rw 0 0
//host/stones /mnt/our\\040stones cifs rw 0 0
host:/all /mnt/over ext4 rw 0 0
host:/all /mnt/over fuse.sshfs rw 0 0
/dev/sdb1 /mnt/stones/local ext4 rw 0 0
"""


@pytest.fixture
def mounts(tmp_path):
    path = tmp_path / "mounts"
    path.write_text(MOUNTS)
    return path


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("/mnt/stones/ledger.sqlite", "nfs4"),
        ("/mnt/our stones/a/ledger.sqlite", "cifs"),
        ("/mnt/over/ledger.sqlite", "fuse.sshfs"),
    ],
)
def test_a_ledger_on_a_network_drive_is_told_in_one_line(mounts, place, kind):
    (remark,) = place_remarks(Path(place), mounts)
    assert remark.startswith(f"{place}: lies on a network drive ({kind}); put it on this machine's")
    assert "\n" not in remark


@pytest.mark.parametrize(
    "place",
    [
        "/people/ann/ledger.sqlite",
        "/mnt/stones/local/ledger.sqlite",
        "/mnt/stonesandmore/ledger.sqlite",
        "/people/ann/drive/sandbox/ledger.sqlite",
        "/people/ann/clouds.sqlite",
    ],
)
def test_a_good_place_is_not_remarked_on(mounts, place):
    assert place_remarks(Path(place), mounts) == ()


@pytest.mark.parametrize("folder", ["My Cloud", "stones-sync", "OneDrive - Ann", "Shared drives"])
def test_a_folder_that_sounds_kept_elsewhere_is_told_in_one_line(mounts, folder):
    (remark,) = place_remarks(Path("/people/ann", folder, "stones", "ledger.sqlite"), mounts)
    assert f"folder {folder!r} sounds as if it is copied to other machines" in remark
    assert "\n" not in remark


def test_a_system_that_lists_no_mounts_is_asked_in_vain(tmp_path):
    assert place_remarks(Path("/mnt/stones/ledger.sqlite"), tmp_path / "none") == ()


@pytest.mark.skipif(sys.platform != "linux", reason="each system has a place of its own")
@pytest.mark.parametrize(
    ("environment", "folder"),
    [({"XDG_DATA_HOME": "/data"}, "/data"), ({"HOME": "/people/ann"}, "/people/ann/.local/share")],
)
def test_the_ledger_lies_with_the_user_s_data(environment, folder):
    # The XDG base directory specification: $XDG_DATA_HOME, or ~/.local/share. In a program of its own, for the tests
    # have a place of theirs.
    code = "from grader.ledger.place import default_path; print(default_path())"
    run = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, cwd=ROOT
    )
    assert run.stdout == f"{folder}/stone-face-grader/ledger.sqlite\n", run.stderr
