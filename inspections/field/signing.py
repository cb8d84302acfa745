"""The key pair that signs what phones answer from: derived from SECRET_KEY, so that all workers hold the same."""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from typing import Any

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

from gear.rules.hashing import canonical

LABEL = b"field-bundle-signing-1"  # another purpose of the same secret has a label of its own
ORDER = (
    0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551  # of P-256, NIST SP 800-186 3.2.1.3
)
HALF = 32  # bytes of each half of a raw signature


def sign(text: str) -> str:
    """The signature of a text: ECDSA P-256 over SHA-256, raw r||s as WebCrypto reads it, in base64."""
    r, s = decode_dss_signature(_key(settings.SECRET_KEY).sign(text.encode(), ec.ECDSA(hashes.SHA256())))
    return base64.b64encode(r.to_bytes(HALF, "big") + s.to_bytes(HALF, "big")).decode()


def signed(stated: dict[str, Any]) -> dict[str, str]:
    """The text that is signed, and its signature. The phone reads nothing but that text."""
    text = canonical(stated).decode()
    return {"text": text, "signature": sign(text)}


def verify(text: str, signature: str) -> None:
    """Raises InvalidSignature, or ValueError for what is no signature, unless `sign` made this one for this text."""
    raw = base64.b64decode(signature, validate=True)
    if len(raw) != 2 * HALF:
        raise ValueError("no raw signature")
    pair = encode_dss_signature(int.from_bytes(raw[:HALF], "big"), int.from_bytes(raw[HALF:], "big"))
    _key(settings.SECRET_KEY).public_key().verify(pair, text.encode(), ec.ECDSA(hashes.SHA256()))


def public_key() -> str:
    """The public key as WebCrypto imports it "raw" (the uncompressed point), in base64."""
    point = _key(settings.SECRET_KEY).public_key()
    return base64.b64encode(
        point.public_bytes(serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)
    ).decode()


def installation() -> str:
    """Which installation signs: its address and the start of the hash of its key. Another's data is refused by it."""
    return f"{settings.BASE_URL} {hashlib.sha256(public_key().encode()).hexdigest()[:16]}"


@lru_cache(maxsize=4)
def _key(secret: str) -> ec.EllipticCurvePrivateKey:
    # 48 bytes taken modulo the order less one are even to 2**-128 (NIST FIPS 186-5, A.2.1).
    made = HKDF(algorithm=hashes.SHA256(), length=48, salt=None, info=LABEL).derive(secret.encode())
    return ec.derive_private_key(int.from_bytes(made, "big") % (ORDER - 1) + 1, ec.SECP256R1())
