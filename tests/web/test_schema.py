"""The JSON API against its own OpenAPI: whatever fits the description, and what does not.

An outside tool reads the description and makes up requests; none may end in a failure of the
server, and every answer must be one that the description promises.
"""

from __future__ import annotations

import shutil

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from ringout.web import create_app
from ringout.web.doors import Keys
from tests.web.conftest import DEMO, HOME, PORT

pytestmark = pytest.mark.slow
TOKEN = "right-token"
HOST = {"host": HOME.removeprefix("http://")}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


@pytest.fixture(scope="module")
def described(tmp_path_factory):
    target = tmp_path_factory.mktemp("schema") / "cell.yaml"
    shutil.copy(DEMO, target)
    app = create_app(str(target), port=PORT, keys=Keys(token=TOKEN))
    return schemathesis.openapi.from_asgi("/api/openapi.json", app, headers=HOST)


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda m: m.value)
def test_no_request_ends_in_a_failure(described, mode):
    operations = [found.ok() for found in described.get_all_operations()]
    if mode is GenerationMode.NEGATIVE:  # a path or query of text has nothing that does not fit
        operations = [o for o in operations if o.method == "post"]
    assert len(operations) >= 4
    for operation in operations:

        @settings(max_examples=40, deadline=None, suppress_health_check=[*HealthCheck])
        @given(case=operation.as_strategy(generation_mode=mode))
        def ask(case):
            case.headers = {**(case.headers or {}), **HOST}
            if case.method != "GET":
                case.headers["X-Bench-Token"] = TOKEN
            case.validate_response(case.call(), checks=CHECKS)

        ask()
