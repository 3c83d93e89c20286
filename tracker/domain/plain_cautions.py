"""The report's cautions in a producer's words: what is the matter, what it does, and whom to ask.

The report has the figures, the scale and its source; here stands what to do, in sentences that anybody reads. A
caution that has no words here is shown as the report says it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_VET = "Ask your veterinarian or county extension office before you feed it."
_FIRE = "What your fire service says comes first."
_NITRATE = "Nitrate is high in this hay. It can kill cattle."

# By code; the advice is that of the caution itself, said shorter.
_BY_CODE: Mapping[str, str] = {
    "nitrate-do-not-feed": f"{_NITRATE} One scale says: do not feed it. {_VET}",
    "nitrate-quarter": f"{_NITRATE} At most a quarter of what they eat, by one scale, and none to bred ones. {_VET}",
    "nitrate-third": f"{_NITRATE} At most a third of what they eat, by one scale, and none to bred ones. {_VET}",
    "nitrate-half": f"Nitrate is raised. At most half of what they eat, by one scale. {_VET}",
    "nitrate-pregnant": f"Nitrate is raised. At most half of what bred animals eat, by one scale. {_VET}",
    "nitrate-not-tested": f"Protein is very high. Part of it may be nitrate, so have it tested. {_VET}",
    "heat-damage": f"This hay got hot in the bale. Heat has bound part of its protein. {_VET}",
    "moist-hay": f"This hay is damp. It may heat or mold. Check the stack each day for six weeks. {_FIRE}",
    "mould-seen": f"We saw mold. The dust harms you and your horses, so wear a mask. {_VET}",
    "hot-seen": f"The bag came hot. Check the stack today, and never walk on it. {_FIRE}",
    "hot-hay": f"The stack is hot. Keep off it, and do not feed from it. Call your fire service. {_FIRE}",
    "foreign-matter-seen": f"There was soil, twine or wire in the bag. Look through the bales. {_VET}",
    "soil-in-hay": f"There is likely soil in this hay. Soil feeds nobody. {_VET}",
}
# What stands on older reports, which keep the topic alone.
_BY_TOPIC: Mapping[str, str] = {
    "nitrate": f"There is a caution on nitrate. It can kill cattle. {_VET}",
    "heat damage": _BY_CODE["heat-damage"],
    "moisture": _BY_CODE["moist-hay"],
    "mould": _BY_CODE["mould-seen"],
    "hot hay": _BY_CODE["hot-hay"],
}


def caution_said(caution: Mapping[str, Any]) -> str:
    """One of the report's cautions in plain words."""
    code, topic = str(caution.get("code") or ""), str(caution.get("topic") or "")
    return _BY_CODE.get(code) or _BY_TOPIC.get(topic) or str(caution.get("words") or "")
