"""What a phone seals so that nobody who finds it reads it: opened here alone, and only for the record it was made for.

The sender makes a key pair for one message, agrees on a secret with our P-256 key (ECDH), draws an AES-256 key from it
(HKDF-SHA256), and seals with AES-GCM, bound to what the message is about: the steps of base mode of RFC 9180. Our key
is derived from SECRET_KEY, so that all servers hold the same and a backup needs nothing more. Sealed is, in base64:
65 bytes of the sender's point (uncompressed), 12 bytes of nonce, then the text with its tag.
"""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

LABEL = b"field-sealing-key-1"  # another purpose of the same secret has a label of its own
PURPOSE = b"field-pin-1"
ORDER = (
    0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551  # of P-256, NIST SP 800-186 3.2.1.3
)
POINT, NONCE, TAG = 65, 12, 16  # bytes
LONGEST = 400  # symbols of what is sealed


class NotOpened(ValueError):
    """It was sealed to another key, for another purpose, or is no sealed text at all."""


def public_key() -> str:
    """Our public key as WebCrypto imports it "raw" (the uncompressed point), in base64."""
    return base64.b64encode(_point(_key(settings.SECRET_KEY).public_key())).decode()


def unseal(sealed: str, *, about: str) -> str:
    """The text that was sealed for `about`. Raises NotOpened."""
    try:
        raw = base64.b64decode(sealed, validate=True) if len(sealed) <= LONGEST else b""
        if len(raw) <= POINT + NONCE + TAG:
            raise NotOpened
        sender, nonce, text = raw[:POINT], raw[POINT : POINT + NONCE], raw[POINT + NONCE :]
        theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        agreed = _key(settings.SECRET_KEY).exchange(ec.ECDH(), theirs)
        return AESGCM(_drawn(agreed, sender)).decrypt(nonce, text, about.encode()).decode()
    except (InvalidTag, ValueError) as problem:
        raise NotOpened("This was not sealed for us, or not for this.") from problem


def seal(text: str, *, about: str) -> str:
    """The same as a phone does it: for tests and programs."""
    ours = ec.generate_private_key(ec.SECP256R1())
    point = _point(ours.public_key())
    agreed = ours.exchange(ec.ECDH(), _key(settings.SECRET_KEY).public_key())
    nonce = hashlib.sha256(point).digest()[:NONCE]  # the key is new for every message
    sealed = AESGCM(_drawn(agreed, point)).encrypt(nonce, text.encode(), about.encode())
    return base64.b64encode(point + nonce + sealed).decode()


def _drawn(agreed: bytes, sender: bytes) -> bytes:
    """The key of one message; the sender's point is part of what it is drawn for."""
    return HKDF(algorithm=hashes.SHA256(), length=32, salt=b"", info=PURPOSE + sender).derive(agreed)


def _point(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)


@lru_cache(maxsize=4)
def _key(secret: str) -> ec.EllipticCurvePrivateKey:
    # 48 bytes taken modulo the order less one are even to 2**-128 (NIST FIPS 186-5, A.2.1).
    made = HKDF(algorithm=hashes.SHA256(), length=48, salt=None, info=LABEL).derive(secret.encode())
    return ec.derive_private_key(int.from_bytes(made, "big") % (ORDER - 1) + 1, ec.SECP256R1())
