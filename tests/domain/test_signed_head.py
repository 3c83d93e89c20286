"""Signed heads in text: RFC 8032's signatures, a published signed note, and what is refused."""

from __future__ import annotations

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from tests.makers import code_of
from tracker.domain.signed_head import (
    Head,
    PublicKey,
    Signature,
    heads_in,
    public_key,
    read_head,
    signed_by,
)
from tracker.errors import Refused

# RFC 8032, 7.1, tests 1 to 3: secret key, public key, message, signature.
RFC8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]
# The published example of a signed note (golang.org/x/mod, sumdb/note, package documentation; seen): its verifier key
# and its signature over two lines of text.
NOTE_KEY = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
NOTE_TEXT = (
    b"If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
)
NOTE_SIGNATURE = (
    "\u2014 PeterNeumann "
    "x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM="
)

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
KEY = PublicKey("hay.example/log-1/1", SECRET.public_key().public_bytes_raw())
BARE = Head("hay.example/log-1", 330, bytes(range(32)))


def signed(head: Head = BARE, key: PublicKey = KEY) -> Head:
    line = Signature(key.name, key.key_id, SECRET.sign(head.text.encode()))
    return Head(head.origin, head.size, head.root, (*head.signatures, line))


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC8032)
def test_the_published_signatures_come_out(secret: str, public: str, message: str, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def test_the_published_note_names_its_key_as_we_do() -> None:
    key = public_key(NOTE_KEY)
    assert str(key) == NOTE_KEY
    name, coded = NOTE_SIGNATURE.split(" ")[1:]
    assert name == key.name
    import base64

    raw = base64.b64decode(coded)
    assert raw[:4] == key.key_id
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    Ed25519PublicKey.from_public_bytes(key.raw).verify(raw[4:], NOTE_TEXT)


def test_a_head_is_three_lines_an_empty_one_and_its_signatures() -> None:
    text = str(signed())
    lines = text.split("\n")
    assert lines[:4] == ["hay.example/log-1", "330", "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=", ""]
    assert lines[4].startswith("\u2014 hay.example/log-1/1 ") and lines[5:] == [""]
    # It must fit a QR of version 10 at M, 213 bytes (ISO/IEC 18004, table 7).
    assert len(text.encode()) <= 213


def test_a_head_read_back_is_the_same_and_its_signature_holds() -> None:
    found = read_head(str(signed()))
    assert found == signed()
    assert signed_by(found, [public_key(NOTE_KEY), KEY]) == KEY


def test_a_head_signed_by_two_keys_holds_for_whoever_knows_either() -> None:
    other = Ed25519PrivateKey.generate()
    new = PublicKey("hay.example/log-1/2", other.public_key().public_bytes_raw())
    both = Head(
        BARE.origin,
        BARE.size,
        BARE.root,
        (*signed().signatures, Signature(new.name, new.key_id, other.sign(BARE.text.encode()))),
    )
    found = read_head(str(both))
    assert signed_by(found, [KEY]) == KEY
    assert signed_by(found, [new]) == new


def test_a_signature_over_another_head_does_not_hold() -> None:
    borrowed = Head(BARE.origin, 331, BARE.root, signed().signatures)
    assert signed_by(borrowed, [KEY]) is None
    assert signed_by(signed(), [public_key(NOTE_KEY)]) is None
    assert signed_by(BARE, [KEY]) is None


def test_no_byte_of_a_head_can_change_unnoticed() -> None:
    whole = str(signed()).encode()
    for at in range(len(whole)):
        for change in (1, 0x20):
            wrong = bytearray(whole)
            wrong[at] ^= change
            try:
                found = read_head(wrong.decode())
            except (Refused, UnicodeDecodeError):
                continue
            assert signed_by(found, [KEY]) is None, f"byte {at}"


@pytest.mark.parametrize(
    "note",
    [
        "",
        "a\n1\n",
        "a\n-1\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n\n",
        "a\n1\nAAEC\n\n",
        "a\n1\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh9=\n\n",
        "a\n01\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n\n",
        str(signed()) + "more\n",
        str(signed()).rstrip("\n"),
    ],
)
def test_what_is_not_a_head_is_refused(note: str) -> None:
    with pytest.raises(Refused) as refused:
        read_head(note)
    assert code_of(refused) == "not-a-head"


@pytest.mark.parametrize(
    "line",
    ["", "name", NOTE_KEY[:-1], NOTE_KEY.replace("c74f20a3", "c74f20a4"), NOTE_KEY.replace("Peter", "Paul")],
)
def test_what_is_not_a_public_key_is_refused(line: str) -> None:
    with pytest.raises(Refused) as refused:
        public_key(line)
    assert code_of(refused) == "not-a-public-key"


def test_heads_are_found_among_other_words() -> None:
    later = signed(Head(BARE.origin, 400, BARE.root))
    mail = f"Good night,\r\n\r\n{signed()}and the one of today:\n\n{later}\n-- \nOffice\n"
    assert heads_in(mail) == [signed(), later]
    assert heads_in("nothing\nhere\n") == []
