"""Programs sign in with a token of a person: `Authorization: Token ...`."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from gear.models import ApiToken, User

WORD = b"token"
SELDOM = timedelta(minutes=10)


def digest(secret: str) -> str:
    """What is stored of a token. It is 256 random bits, so a plain hash cannot be guessed back."""
    return hashlib.sha256(secret.encode()).hexdigest()


class TokenAuthentication(BaseAuthentication):
    """Only the hash of a token is stored; a revoked one, or one whose person left, opens nothing at once."""

    def authenticate(self, request: Any) -> tuple[User, ApiToken] | None:
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != WORD:
            return None
        if len(parts) != 2:
            raise AuthenticationFailed(_("Send the header as: Authorization: Token, a space, the token."))
        secret = parts[1].decode("ascii", errors="replace")
        token = (
            ApiToken.objects.select_related("person__depot", "person__crew")
            .filter(digest=digest(secret), revoked_at=None, person__is_active=True)
            .first()
        )
        if token is None:
            raise AuthenticationFailed(_("This token is not known or was revoked. Ask the administrator."))
        self._note_use(token)
        return token.person, token

    @staticmethod
    def _note_use(token: ApiToken) -> None:
        now = timezone.now()
        seldom = Q(last_used_at=None) | Q(last_used_at__lt=now - SELDOM)
        ApiToken.objects.filter(seldom, pk=token.pk).update(last_used_at=now)

    def authenticate_header(self, request: Any) -> str:
        return "Token"


class TokenScheme(OpenApiAuthenticationExtension):
    """How the schema tells of it."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "Token, a space, the token",
        }
