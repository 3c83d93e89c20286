"""Bodies of invented reports, as they are kept with a report once issued."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

BODY: dict[str, Any] = {
    "report": {
        "number": "R-3R71XZ15-v1",
        "version": 1,
        "replaces": None,
        "reason": "",
        "issued_at": "2026-06-19T15:42:00-05:00",
        "issued_by": "Lena Okafor",
        "issued_by_role": "lead",
    },
    "programme": {
        "name": "Three Rivers Hay Programme",
        "address": "12 Mill Lane, Alder Bend",
        "phone": "555-0142",
    },
    "customer": {"name": "Ada Brandt", "place": "Cold Spring Road, Alder Bend", "phone": "555-0117"},
    "lot": {
        "number": 12,
        "field": "North 40",
        "cutting": 2,
        "season": 2026,
        "part": "",
        "forage": "alfalfa-grass",
        "forage_class": "mixed, mostly legume",
        "harvested": "2026-06-01",
        "bale_shape": "small square",
        "bale_count": 118,
        "bale_mass": "61",
        "bale_mass_unit": "[lb_av]",
        "mass_assumed": False,
        "short_tons": "3.6",
        "storage": "barn",
    },
    "sample": {
        "code": "3R71-XZ15",
        "number": 1,
        "sampled_at": "2026-06-14T09:10:00-05:00",
        "received_at": "2026-06-15T08:05:00-05:00",
        "received_condition": "dry, bag torn at one corner",
        "tested_from": "2026-06-15T10:20:00-05:00",
        "tested_to": "2026-06-18T11:05:00-05:00",
    },
    "plan": {
        "version": 1,
        "seed": 4711,
        "cores": 20,
        "entry": "end",
        "probe": "5/8 inch (15.9 mm inside)",
        "depth_mm": 458,
        "mass_g": 290,
        "fewer_cores_reason": "",
        "cp_margin": "0.8",
        "ndf_margin": "1.9",
    },
    "cored": {
        "cores": 19,
        "entry": "end",
        "by": "Rosa Quiroga",
        "started_at": "2026-06-14T09:10:00-05:00",
        "ended_at": "2026-06-14T09:52:00-05:00",
        "deviations": ["Bale 88 could not be reached; its core was left out."],
        "composite_g": "281.4",
    },
    "stations": [
        {
            "name": "stack",
            "word": "cored",
            "at": "2026-06-14T09:52:00-05:00",
            "by": "Rosa Quiroga",
            "here": False,
        },
        {
            "name": "bag",
            "word": "bagged",
            "at": "2026-06-14T09:58:00-05:00",
            "by": "Rosa Quiroga",
            "here": False,
        },
        {
            "name": "desk",
            "word": "received",
            "at": "2026-06-15T08:05:00-05:00",
            "by": "Ines Marsh",
            "here": False,
        },
        {
            "name": "oven",
            "word": "dry weighed",
            "at": "2026-06-17T09:30:00-05:00",
            "by": "Tobias Lund",
            "here": False,
        },
        {
            "name": "mill",
            "word": "fine ground",
            "at": "2026-06-17T14:10:00-05:00",
            "by": "Tobias Lund",
            "here": False,
        },
        {
            "name": "scan",
            "word": "scanned",
            "at": "2026-06-18T11:05:00-05:00",
            "by": "Amos Reddy",
            "here": False,
        },
        {
            "name": "answer",
            "word": "reported",
            "at": "2026-06-19T15:42:00-05:00",
            "by": "Lena Okafor",
            "here": True,
        },
    ],
    "custody": [
        {
            "number": 1,
            "at": "2026-06-14T09:52:00-05:00",
            "by": "Rosa Quiroga",
            "role": "technician",
            "kind": "cored",
            "words": "cored 19 bales from the end",
            "remarks": ["19 of 20 cores were taken."],
            "late": False,
            "note": "",
        },
        {
            "number": 2,
            "at": "2026-06-14T09:58:00-05:00",
            "by": "Rosa Quiroga",
            "role": "technician",
            "kind": "bagged",
            "words": "put into bag 3R71-XZ15",
            "remarks": [],
            "late": True,
            "note": "entered when the phone was back in range",
        },
        {
            "number": 3,
            "at": "2026-06-15T08:05:00-05:00",
            "by": "Ines Marsh",
            "role": "clerk",
            "kind": "received",
            "words": "received from Rosa Quiroga; dry, bag torn at one corner",
            "remarks": [],
            "late": False,
            "note": None,
        },
    ],
    "gaps": ["From 14 Jun 18:00 to 15 Jun 07:40 the bag lay on the shelf by the door, which does not lock."],
    "dry_matter": {
        "tare_g": "18.2",
        "fresh_g": "218.2",
        "dry_g": "198.4",
        "fresh_net_g": "200.0",
        "dry_net_g": "180.2",
        "partial": "90.10",
        "partial_margin": "0.09",
        "lab": "93.5",
        "lab_source": "by scan",
        "total": "84.2",
        "total_margin": "0.4",
        "covers": "the balance and the scan; not sampling, oven time or moisture regained.",
        "remarks": ["Weighed again after 4 h: 198.4 g."],
    },
    "results": [
        {
            "code": "CP",
            "name": "crude protein",
            "unit": "%",
            "dm": "8.6",
            "ar": "7.2",
            "margin": "0.5",
            "ar_margin": "0.4",
            "decimals": 1,
            "method": "near infrared scan",
            "calibration": "mixed hay 2026-1",
            "source": "",
            "outside": False,
            "basis_given": "dry matter",
            "value_given": None,
            "unit_given": None,
            "qualifier": "",
            "scanned_at": "2026-06-18T11:05:00-05:00",
            "flags": [],
            "changed": False,
        },
        {
            "code": "ADF",
            "name": "acid detergent fibre",
            "unit": "%",
            "dm": "38.4",
            "ar": "32.3",
            "margin": "1.1",
            "decimals": 1,
            "method": "near infrared scan",
            "calibration": "mixed hay 2026-1",
            "source": "",
            "outside": False,
            "scanned_at": "2026-06-18T11:05:00-05:00",
            "flags": ["Outside the range of the calibration."],
            "changed": False,
        },
        {
            "code": "NDF",
            "name": "neutral detergent fibre",
            "unit": "%",
            "dm": "59.7",
            "ar": "50.3",
            "margin": "1.6",
            "decimals": 1,
            "method": "near infrared scan",
            "calibration": "mixed hay 2026-1",
            "source": "",
            "outside": False,
            "flags": [],
            "changed": False,
        },
        {
            "code": "ADICP",
            "name": "bound protein",
            "unit": "%",
            "dm": None,
            "ar": None,
            "margin": None,
            "decimals": 2,
            "method": None,
            "calibration": None,
            "source": None,
            "outside": False,
            "flags": [],
            "changed": False,
        },
        {
            "code": "NO3",
            "name": "nitrate",
            "unit": "mg/kg",
            "dm": "6200",
            "ar": "5220",
            "margin": "400",
            "decimals": 0,
            "method": "ion electrode, wet chemistry",
            "calibration": None,
            "source": "Birch Hollow Forage Bench",
            "outside": True,
            "basis_given": "as nitrate N, dry matter",
            "value_given": "0.14",
            "unit_given": "%",
            "qualifier": "",
            "flags": [],
            "changed": False,
        },
    ],
    "derived": [
        {
            "code": "TDN_ADF",
            "name": "TDN from ADF",
            "value": "58.4",
            "margin": "1.0",
            "unit": "%",
            "basis": "dry matter",
            "formula": "88.9 − 0.79 × ADF",
            "source": "an invented source, 2020",
            "missing": [],
        },
        {
            "code": "RFV",
            "name": "Relative feed value (RFV)",
            "value": "92",
            "margin": "4",
            "unit": "1",
            "basis": "",
            "formula": "(88.9 − 0.779 × ADF) × (120 / NDF) / 1.29",
            "source": "an invented source, 2020",
            "missing": [],
        },
        {
            "code": "RFQ",
            "name": "Relative forage quality (RFQ)",
            "value": None,
            "unit": "1",
            "basis": "",
            "formula": "TDN × DMI / 1.23",
            "source": "an invented source, 2020",
            "missing": ["NDFD48", "fat"],
        },
    ],
    "margins": {
        "rows": [
            {
                "code": "CP",
                "name": "crude protein",
                "half_width": "0.52",
                "dof": None,
                "shares": {
                    "between bales": "15",
                    "between cores": "27",
                    "laboratory": "58",
                    "calibration": "0",
                    "weighing": "0",
                },
                "sampling": "default",
                "laboratory": "own: 24 runs of 12 samples at the bench",
            },
        ],
        "words": ["± covers 95 of 100 cases."],
    },
    "cautions": [
        {
            "about": "NO3",
            "words": "6200 mg/kg is above 5000 mg/kg: not for pregnant cattle unless diluted.",
            "source": "an invented table, 2020",
        },
        {
            "about": "dry matter",
            "words": "84.2 % dry matter is moist for stored hay; watch for heat.",
            "source": "",
        },
        {
            "about": "lot",
            "words": "Part of the stack was out of reach; the mean leaves it out.",
            "source": "",
        },
        {"about": "mould", "words": "Mould was seen at the desk; no test for toxins was made.", "source": ""},
    ],
    "remarks": [
        {"code": "bag-torn", "level": "note", "words": "The bag was torn; the customer asked to go on."}
    ],
    "statements": [
        "The results relate only to the sample as received.",
        "The lot was sampled by the programme.",
        "A value is called above a limit when the value itself, without its margin, is above it.",
        "Results of outside providers are marked in their row.",
        "This report is not to be reproduced in part without the programme's consent.",
    ],
}

# What the programme has on file for a sample of which nothing but its number is known.
EMPTY: dict[str, Any] = {
    "report": {"number": "R-EMPTY000-v1", "version": 1, "replaces": None, "reason": "", "issued_at": None},
    "programme": {"name": "Three Rivers Hay Programme", "address": None, "phone": None},
    "customer": {},
    "lot": {},
    "sample": {},
    "plan": {},
    "cored": {},
    "stations": [],
    "custody": [],
    "gaps": [],
    "dry_matter": {},
    "results": [],
    "derived": [],
    "margins": {},
    "cautions": [],
    "remarks": [],
    "statements": [],
}


def make_body(**changes: Any) -> dict[str, Any]:
    """A whole report; changes replace its parts, a mapping only the keys it holds."""
    body = deepcopy(BODY)
    for name, change in changes.items():
        body[name] = {**body[name], **change} if isinstance(change, dict) else change
    return body


def long_custody(count: int = 60) -> list[dict[str, Any]]:
    """So many events, every seventh entered late and every ninth with a long note."""
    return [
        {
            "number": number,
            "at": f"2026-06-{15 + number // 24:02d}T{number % 24:02d}:05:00-05:00",
            "by": ("Rosa Quiroga", "Tobias Lund", "Bartholomew Featherstonehaugh-Castellanos")[number % 3],
            "role": "technician",
            "kind": "stored",
            "words": f"event {number}: handed over at the sample locker, seal S-{4400 + number} whole",
            "remarks": ["The seal was read twice."] if number % 5 == 0 else [],
            "late": number % 7 == 0,
            "corrected": number % 11 == 0,
            "note": "the key to the locker was with the other shift and had to be fetched "
            * (number % 9 == 0),
        }
        for number in range(1, count + 1)
    ]


def second_version() -> dict[str, Any]:
    """A report issued again with one row changed."""
    body = make_body(
        report={
            "number": "R-3R71XZ15-v2",
            "version": 2,
            "replaces": "R-3R71XZ15-v1",
            "reason": "scanned again after the lamp was replaced",
        }
    )
    body["results"][0] |= {"dm": "9.1", "ar": "7.7", "changed": True}
    return body
