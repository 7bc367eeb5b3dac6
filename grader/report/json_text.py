"""What commands print as JSON: apart from the records, so that a weight or a sale need not wait for OpenCV."""

import json


def to_json(record: dict | list) -> str:
    """Return strict JSON in plain ASCII, which every console and pipe carries unharmed."""
    return json.dumps(record, allow_nan=False)
