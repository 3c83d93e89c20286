"""Push a balance's reading to the office, and bring the released results into a table.

    python api_client.py https://hay.example TOKEN weigh 9F3KQ2M7 fresh 268.6 B1
    python api_client.py https://hay.example TOKEN results

Only the standard library is needed; the table is a pandas DataFrame where pandas is installed.
"""

from __future__ import annotations

import json
import sys
import time
import uuid
from collections.abc import Iterator
from decimal import Decimal
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import quote, urlencode
from urllib.request import Request, urlopen

TRIES = 5


class Refused(Exception):
    """What the office said no to, with what to do; `problem` holds all of it."""

    def __init__(self, problem: dict[str, Any]) -> None:
        super().__init__(f"{problem['detail']} {problem['remedy']}")
        self.problem = problem


class Office:
    """The office's door for programs."""

    def __init__(self, address: str, token: str) -> None:
        self.address = address.rstrip("/") + "/api/v1"
        self.token = token

    def ask(self, path: str, **query: object) -> Any:
        """The answer to a question."""
        return self._send(Request(f"{self.address}{path}?{urlencode(query)}"))

    def pages(self, path: str, **query: object) -> Iterator[dict[str, Any]]:
        """Each item of a list, page after page."""
        page = self.ask(path, **query)
        yield from page["items"]
        while page["next"]:
            page = self.ask(path, **{**query, "after": page["next"]})
            yield from page["items"]

    def do(self, path: str, body: dict[str, Any]) -> Any:
        """Do an act once, however often the network makes us send it."""
        key = str(uuid.uuid4())
        for nth in range(TRIES):
            request = Request(f"{self.address}{path}", data=json.dumps(body).encode(), method="POST")
            request.add_header("Content-Type", "application/json")
            request.add_header("Idempotency-Key", f'"{key}"')
            try:
                return self._send(request)
            except (URLError, TimeoutError) as fault:
                # A lost answer is no lost act: the same key is answered with what was done the first time.
                if nth == TRIES - 1 or isinstance(fault, HTTPError):
                    raise
                time.sleep(2**nth)
        return None

    def _send(self, request: Request) -> Any:
        request.add_header("Authorization", f"Bearer {self.token}")
        try:
            with urlopen(request, timeout=30) as answer:
                return json.load(answer)
        except HTTPError as error:
            if error.headers.get_content_type() == "application/problem+json":
                raise Refused(json.load(error)) from None
            raise


def push_reading(office: Office, code: str, what: str, grams: str, balance: str, raw: str = "") -> Any:
    """Keep one reading: grams with all the digits that the balance shows, raw the line that it sent."""
    body = {"what": what, "grams": grams, "balance": balance}
    return office.do(f"/samples/{quote(code)}/weighings", {**body, "raw": raw} if raw else body)


def results(office: Office) -> Any:
    """Every released value as a DataFrame, or as a list of rows where pandas is not installed."""
    rows = list(office.pages("/results"))
    for row in rows:
        for name in ("value", "margin", "as_received"):
            row[name] = None if row[name] is None else Decimal(row[name])
    try:
        import pandas
    except ImportError:
        return rows
    return pandas.DataFrame(rows)


def main(words: list[str]) -> int:
    """Do what the command line says; 1 where the office refuses it."""
    office = Office(words[0], words[1])
    try:
        if words[2] == "weigh":
            stands = push_reading(office, *words[3:8])
            print(f"{stands['code']} is {stands['state']}.", *stands["holds"], *stands["remarks"], sep="\n")
        else:
            print(results(office))
    except Refused as refused:
        print(refused, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
