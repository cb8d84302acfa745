"""The headers that every answer carries, refusals and static files included."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

# Nothing from elsewhere, nothing inline: what somebody typed into a note cannot become a script.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
# What people send is shown as a picture and as nothing else; no answer can ask for less than POLICY.
SANDBOX = "default-src 'none'; sandbox"
ALWAYS = {
    "Content-Security-Policy": POLICY,
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


class ProtectiveHeaders:
    """Outermost middleware. No cache keeps an answer: yesterday's `good` must not be shown today."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        boxed = response.headers.get("Content-Security-Policy") == SANDBOX
        for name, value in ALWAYS.items():
            response.headers[name] = value
        if boxed:
            response.headers["Content-Security-Policy"] = SANDBOX
        if not (request.path.startswith(settings.STATIC_URL) and response.status_code < 400):
            response.headers["Cache-Control"] = "no-store"
        return response
