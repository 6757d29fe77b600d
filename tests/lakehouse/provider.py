"""A small OpenID provider on loopback: it asks for no password, and says of somebody what it is told."""

from __future__ import annotations

import base64
import json
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from secrets import token_urlsafe
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key
from cryptography.hazmat.primitives.hashes import SHA256

CLIENT = "calib-page"


def _base64(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


class Provider:
    """The code flow of OpenID Connect Core 1.0, with an id_token signed by RS256; who signs in is chosen beforehand."""

    def __init__(self) -> None:
        self.key = generate_private_key(public_exponent=65537, key_size=2048)
        self.who: dict[str, Any] = {}
        self.codes: dict[str, dict[str, Any]] = {}
        provider = self

        class Answers(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                asked = urlsplit(self.path)
                query = {name: values[0] for name, values in parse_qs(asked.query).items()}
                if asked.path == "/authorize":
                    self.send_response(302)
                    self.send_header("Location", provider.authorized(query))
                    self.end_headers()
                else:
                    self.told(provider.metadata() if "well-known" in asked.path else {"keys": [provider.public()]})

            def do_POST(self) -> None:
                read = parse_qs(self.rfile.read(int(self.headers["Content-Length"])).decode())
                token = provider.token(provider.codes.pop(read["code"][0]))
                self.told({"access_token": token_urlsafe(), "token_type": "Bearer", "id_token": token})

            def told(self, answer: object) -> None:
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.end_headers()
                self.wfile.write(json.dumps(answer).encode())

            def log_message(self, format: str, *args: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
        self.url = f"http://localhost:{self.server.server_port}"  # another site than the page's, for a browser
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def metadata(self) -> dict[str, object]:
        names = {"authorization_endpoint": "authorize", "token_endpoint": "token", "jwks_uri": "keys"}
        more = {"response_types_supported": ["code"], "subject_types_supported": ["public"]}
        more |= {"id_token_signing_alg_values_supported": ["RS256"], "code_challenge_methods_supported": ["S256"]}
        return {"issuer": self.url, **{name: f"{self.url}/{path}" for name, path in names.items()}, **more}

    def authorized(self, query: dict[str, str]) -> str:
        assert query["code_challenge_method"] == "S256"
        self.codes[code := token_urlsafe()] = {"nonce": query["nonce"], **self.who}
        return f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"

    def public(self) -> dict[str, str]:
        numbers = self.key.public_key().public_numbers()
        parts = {"n": numbers.n.to_bytes(256), "e": numbers.e.to_bytes(3)}
        return {
            "kty": "RSA",
            "alg": "RS256",
            "use": "sig",
            "kid": "1",
            **{at: _base64(raw) for at, raw in parts.items()},
        }

    def token(self, who: dict[str, Any]) -> str:
        now = int(time.time())
        claims = {"iss": self.url, "aud": CLIENT, "sub": "1", "iat": now, "exp": now + 60, **who}
        parts = ({"alg": "RS256", "kid": "1"}, claims)
        signed = ".".join(_base64(json.dumps(part).encode()) for part in parts)
        return f"{signed}.{_base64(self.key.sign(signed.encode(), PKCS1v15(), SHA256()))}"

    def stop(self) -> None:
        self.server.shutdown()
        self.server.server_close()
