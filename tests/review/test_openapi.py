"""The OpenAPI document tells the truth: schemathesis sends what it allows and what it doesn't."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from pipeline.library import Library
from pipeline.review import create_app
from tests.review.bouts import add_bout
from tests.review.conftest import TOKEN

schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")

from schemathesis.specs.openapi.checks import (  # noqa: E402
    negative_data_rejection,
    positive_data_acceptance,
)

HEADERS = {"Authorization": f"Bearer {TOKEN}", "Host": "127.0.0.1"}


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory, footage):
    """The document's operations, and the id of a bout that exists."""
    library = Library(tmp_path_factory.mktemp("openapi") / "library")
    bout = add_bout(library, footage)
    app = create_app(library, TOKEN)
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", app, headers=HEADERS)
    return [found.ok() for found in schema.get_all_operations()], bout.id


def takes_anything(operation) -> bool:
    """Tell whether there is anything that could be wrong with a request."""
    return any((operation.path_parameters, operation.query, operation.body))


@pytest.mark.parametrize("mode", list(schemathesis.GenerationMode))
def test_the_server_answers_as_its_document_says(described, mode):
    operations, bout_id = described
    assert len(operations) >= 15
    for operation in operations:
        if mode.is_negative and not takes_anything(operation):
            continue

        @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
        @given(case=operation.as_strategy(generation_mode=mode))
        def check(case):
            given_id = case.path_parameters.get("bout_id", "")
            # What fits the document may still not fit the bout: a sentence with 422 is right then.
            excluded = [positive_data_acceptance]
            if len(given_id) % 2:  # else nearly every answer would be 404
                case.path_parameters["bout_id"] = bout_id
                excluded.append(negative_data_rejection)  # the id may have been all that was wrong
            case.call_and_validate(headers=HEADERS, excluded_checks=excluded)

        check()
