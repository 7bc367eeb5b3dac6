"""Whatever the description of the table's routes allows is answered, and never with a fault of the table."""

from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings

from grader.table.app import table_app

pytestmark = pytest.mark.slow


def test_nothing_that_its_description_allows_is_a_fault_of_the_table(
    laid, ask, monkeypatch, importable
):
    schemathesis = importable("schemathesis")
    table = laid({"a.jpg": "1 first", "b.jpg": "2line"})
    monkeypatch.setattr("grader.table.learning.Thread", lambda **_: SimpleNamespace(start=int))
    page = ask(table)
    told = schemathesis.openapi.from_dict(table_app(table).openapi())
    tried = set()
    for operation in told.get_all_operations():
        one = operation.ok()

        @settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
        @given(case=one.as_strategy())
        def ask_it(case):
            body = {} if type(case.body).__name__ == "NotSet" else {"json": case.body}
            kind = "application/json"
            if case.path.endswith("/part"):
                kind, body = "application/octet-stream", {"content": b"\xff\xd8\xff"}
            headers = {"origin": "http://127.0.0.1:8000", "content-type": kind}
            answer = page(
                case.method, case.formatted_path, params=case.query, headers=headers, **body
            )
            assert answer.status_code < 500, (case.method, case.formatted_path, answer.text)

        ask_it()
        tried.add(one.label)
    assert len(tried) > 25
