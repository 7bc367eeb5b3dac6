"""Makes the ledger that is kept of this version, once: ``python tests/ledger/kept/make.py`` from the repository.

A kept ledger is never made again, for it shows what that version wrote. Its facts are made up.
"""

import json
import sys
from importlib import util
from pathlib import Path

from grader.ledger.schema import VERSION
from grader.ledger.store import open_ledger

HERE = Path(__file__).parent


def facts():
    """A fact of each kind, as the tests have them."""
    spec = util.spec_from_file_location("made", HERE.parent / "conftest.py")
    made = util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made.every_kind(), made.TIME


def main() -> None:
    out = HERE / f"{VERSION}.sqlite"
    if out.exists():
        sys.exit(f"{out}: is kept already; a new version gets a file of its own")
    made, time = facts()
    with open_ledger(out) as ledger:
        ledger.add(*made, author="Ann", time=time)
        rows = [
            [e.sequence, e.fact.uid, e.fact.kind, e.author, e.time, json.loads(e.fact.to_body())]
            for e in ledger.entries()
        ]
    text = json.dumps(rows, indent=1)
    out.with_suffix(".json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main()
