"""Take a balance into use, or say something new of one."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.balance_profile import PROFILES, profile_from
from tracker.domain.custody import Act
from tracker.domain.units import grams, positive
from tracker.errors import Refused
from tracker.steps.print_tags import require_reason
from tracker.storage.equipment import Balance, balances

ROUTES = ("typed", "keyboard", "serial")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,29}", re.ASCII)


def add_balance(
    session: Session,
    name: str,
    act: Act,
    *,
    route: str,
    profile: str,
    check_weight: str | Decimal,
    limit: str | Decimal,
    reason: str = "",
) -> Balance:
    """Keep what is known of the balance from now on; what was known before stays with its checks.

    profile: the name of one that is built in, or an own one as JSON; check_weight and limit in grams; reason: why a
    balance that is known changes. Raises Refused `balance-name`, `unknown-route`, `balance-profile`, `not-a-number`,
    `not-a-weight`, `not-positive`, `reason-missing`.
    """
    if not _NAME.fullmatch(name.strip()):
        raise Refused(
            "balance-name",
            f"{name!r} is not a name for a balance.",
            field="name",
            remedy="Use up to 30 letters, digits, blanks and hyphens, as on its sticker.",
        )
    if route not in ROUTES:
        raise Refused(
            "unknown-route",
            f"{route!r} is not a way in which readings come.",
            field="route",
            remedy=f"Choose from {', '.join(ROUTES)}.",
        )
    if any(one.name == name.strip() for one in balances(session)):
        require_reason(reason)
    row = Balance(
        name=name.strip(),
        route=route,
        profile=_profile(profile),
        check_weight=grams(check_weight, field="check_weight"),
        limit=positive(limit, field="limit"),
        reason=reason.strip(),
        by=act.by.key,
        at=act.now,
    )
    session.add(row)
    session.flush()
    return row


def _profile(text: str) -> dict[str, Any]:
    if text.strip() in PROFILES:
        return {"name": text.strip()}
    try:
        data = json.loads(text)
    except ValueError:
        data = None
    if not isinstance(data, dict):
        raise Refused(
            "balance-profile",
            f"{text[:40]!r} is no profile that is built in, and no JSON object.",
            field="profile",
            remedy=f"Choose from {', '.join(PROFILES)}, or write an own profile as JSON.",
        )
    profile_from(data)
    return data
