"""The base of the API's views."""

from typing import Any

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
