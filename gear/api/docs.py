"""The interface in words: a plain page made from its own OpenAPI schema, with nothing fetched from elsewhere."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator


def page(request: HttpRequest) -> HttpResponse:
    """Every address with its methods, parameters and fields."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    routes = [
        {
            "path": path,
            "method": method.upper(),
            "about": operation.get("description", ""),
            "parameters": operation.get("parameters", []),
            "fields": _fields(operation, schema),
        }
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
    ]
    return render(request, "gear/api_docs.html", {"routes": routes})


def _fields(operation: dict, schema: dict) -> list[dict]:
    """The fields of the body that the operation takes."""
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    name = content.get("schema", {}).get("$ref", "").rpartition("/")[2]
    body = schema.get("components", {}).get("schemas", {}).get(name, {})
    needed = body.get("required", [])
    return [
        {
            "name": field,
            "is_needed": field in needed,
            "type": about.get("type", ""),
            "about": about.get("enum", ""),
        }
        for field, about in body.get("properties", {}).items()
    ]
