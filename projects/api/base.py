"""The base of the API's views."""

from typing import Any

from rapidfuzz import process
from rest_framework.request import Request
from rest_framework.views import APIView

from projects.api.errors import FieldProblem, Problem


class ApiView(APIView):
    """A view of the API: JSON in, JSON out, every error a problem."""

    http_method_names = ["get", "head", "post", "put", "patch", "delete"]

    def read_object(self, request: Request) -> dict[str, Any]:
        """Return the body, which must be a JSON object.

        Raises
        ------
        Problem
            400 if nothing was sent or it is not JSON, 413, 415, and 422 if it is JSON but no object.
        """
        if not request.headers.get("Content-Length", "").strip("0"):
            raise Problem("empty_body", "The body is empty; it should be a JSON object.")
        data = request.data
        if not isinstance(data, dict):
            raise Problem(
                "invalid_request",
                "The body should be a JSON object.",
                errors=[
                    FieldProblem(
                        "",
                        "wrong_type",
                        f"The body is {_json_type(data)}; it should be an object.",
                        expected="object",
                    )
                ],
            )
        return data

    def read_query(self, request: Request, *known: str) -> dict[str, str]:
        """Return what stands after the address's question mark.

        Raises
        ------
        Problem
            422 if it says something that this address does not read, or says it twice.
        """
        for name, values in request.query_params.lists():
            shown = name[:_SHOWN]
            if name not in known:
                allowed = ", ".join(known) or "nothing"
                near = tuple(word for word, _, _ in process.extract(shown, known, limit=1, score_cutoff=60))
                text = f"This address does not read {shown!r}; after the question mark it reads {allowed}."
                raise query_problem(shown, "unknown_key", text, values[0][:_SHOWN], allowed, near)
            if len(values) > 1:
                text = f"{name} is given {len(values)} times; once is enough."
                raise query_problem(name, "given_twice", text, values[1][:_SHOWN], "one value")
        return request.query_params.dict()


def query_problem(
    parameter: str, code: str, detail: str, value: str, expected: str, suggestions: tuple[str, ...] = ()
) -> Problem:
    """Return the 422 that points at one part of the address."""
    found = FieldProblem("", code, detail, value, expected, suggestions, parameter)
    return Problem("invalid_request", detail, errors=[found])


_SHOWN = 80


def _json_type(data: Any) -> str:
    match data:
        case None:
            return "null"
        case bool():
            return "true or false"
        case int() | float():
            return "a number"
        case str():
            return "a text"
        case _:
            return "a list"
