"""Somebody who asks a plant's server over the wire, as a station would, or as none would."""

import gzip
import json
import ssl
from urllib.parse import quote

import httpx

from station.plant.message_signature import sign

NO_TLS = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)


class Asker:
    def __init__(self, plant, key):
        self.base, self.key = f"http://{plant.host}:{plant.port}", key
        self.log = f"/v1/logs/{quote(key.name, safe='')}"

    def ask(self, method, path="", content=b"", *, key=None, headers=None, log=None, changed=None):
        """Ask and return the answer; `changed` are headers put over those signed."""
        url = self.base + (log or self.log) + path
        signed = sign(method, url, headers or {}, content, key or self.key)
        # without certificates, whose loading takes longer than all else
        return httpx.request(method, url, content=content, headers={**signed, **(changed or {})}, timeout=60,
                             verify=NO_TLS)

    def size(self):
        return self.ask("GET").json()["size"]

    def post(self, content, *, packed=False):
        if packed:
            return self.ask("POST", "/entries", gzip.compress(content), headers={"Content-Encoding": "gzip"})
        return self.ask("POST", "/entries", content)

    def missing(self, named):
        files = [{"name": name, "sha256": sha256} for name, sha256 in named.items()]
        return self.ask("POST", "/files/missing", json.dumps({"format": 1, "files": files}).encode())

    def put(self, name, content, **more):
        return self.ask("PUT", f"/files/{quote(name)}", content, **more)
